"""Where the files of the project are, as the house tests see them."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("tidecore", "service")
MIGRATIONS = "service/storage/migrations/versions"


@cache
def tracked() -> tuple[str, ...]:
    """Names of every file that git tracks and that is there, relative to the root."""
    git = ["git", "-c", "safe.directory=*", "-C", str(ROOT), "ls-files", "-z"]
    listed = subprocess.run(git, check=True, capture_output=True, text=True).stdout
    return tuple(name for name in listed.split("\0") if name and (ROOT / name).is_file())


def python_files(*folders: str) -> list[Path]:
    """Every Python file below ``folders``, sorted."""
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def relative(path: Path) -> str:
    """``path`` as it is written in a report."""
    return path.relative_to(ROOT).as_posix()


def parsed(path: Path) -> ast.Module:
    """The syntax tree of a file."""
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function of a tree, methods and inner ones too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node
