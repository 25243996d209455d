"""Sizes and names of files: nothing grows until nobody reads it, nothing is a drawer for the rest."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.conftest import LONG_FILES
from tests.house.tree import MIGRATIONS, PACKAGES, ROOT, functions, parsed, python_files, relative

MODULE_LINES = 400
TEST_MODULE_LINES = 600
FUNCTION_LINES = 50
JUNK = frozenset({"util", "utils", "utilities", "helper", "helpers", "common", "misc", "stuff", "tools", "shared"})


def line_count(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def too_long(paths: list[Path], limit: int) -> list[str]:
    return [f"{path}: {line_count(path)} lines" for path in paths if line_count(path) > limit]


def long_functions(tree: ast.AST, limit: int) -> list[str]:
    """Functions of more than ``limit`` lines, from ``def`` to the last one, the docstring not counted."""
    found = []
    for function in functions(tree):
        lines = (function.end_lineno or function.lineno) - function.lineno + 1
        first = function.body[0]
        if ast.get_docstring(function, clean=False) is not None:
            lines -= (first.end_lineno or first.lineno) - first.lineno + 1
        if lines > limit:
            found.append(f"{function.name} (line {function.lineno}): {lines} lines")
    return found


def junk_drawers(names: list[str]) -> list[str]:
    return [
        name
        for name in names
        if JUNK & set(Path(name).with_suffix("").parts) and not name.endswith("schemas/common.py")
    ]


def source_files() -> list[Path]:
    return [path for path in python_files(*PACKAGES) if not relative(path).startswith(MIGRATIONS)]


def test_modules_stay_readable():
    assert too_long(source_files(), MODULE_LINES) == []


def test_test_modules_stay_readable():
    assert too_long(python_files("tests"), TEST_MODULE_LINES) == []


def test_files_that_are_begun_first_are_there():
    assert [name for name in LONG_FILES if not (ROOT / name).is_file()] == []


def test_functions_stay_readable():
    found = {relative(path): long_functions(parsed(path), FUNCTION_LINES) for path in source_files()}
    assert {name: functions for name, functions in found.items() if functions} == {}


def test_no_file_is_a_drawer_for_the_rest():
    assert junk_drawers([relative(path) for path in python_files(*PACKAGES, "tests")]) == []


def test_a_module_over_the_limit_is_seen(tmp_path):
    for name, lines in (("fits.py", MODULE_LINES), ("long.py", MODULE_LINES + 1)):
        (tmp_path / name).write_text("x = 1\n" * lines, encoding="utf-8")
    seen = too_long(sorted(tmp_path.glob("*.py")), MODULE_LINES)
    assert [Path(line.split(":")[0]).name for line in seen] == ["long.py"]


@pytest.mark.parametrize(("lines", "seen"), [(FUNCTION_LINES - 1, False), (FUNCTION_LINES, True)])
def test_a_function_over_the_limit_is_seen(lines, seen):
    body = "    x = 1\n" * lines
    sample = f'class Tide:\n  def rise(self):\n    """Rise.\n\n    Slowly.\n    """\n{body}'
    assert bool(long_functions(ast.parse(sample), FUNCTION_LINES)) is seen


@pytest.mark.parametrize(
    ("name", "seen"),
    [
        ("service/utils.py", True),
        ("tidecore/helpers/tide.py", True),
        ("service/api/v1/common.py", True),
        ("service/api/v1/schemas/common.py", False),
        ("tidecore/units.py", False),
    ],
)
def test_a_drawer_is_seen(name, seen):
    assert bool(junk_drawers([name])) is seen
