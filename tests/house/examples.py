"""Blocks of code in a document, and how they are run as a reader would run them."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from tests.house.tree import ROOT

FENCE = re.compile(r"^```(?P<language>[a-z]*)(?P<rest>[^\n]*)\n(?P<code>.*?)^```[ ]*$", re.M | re.S)
ADDRESS = "http://localhost:8321"
#: Stops at the first line that fails, and takes an answer of 400 and more as a failure.
SHELL_HEAD = 'set -eu; curl() { command curl --fail-with-body --silent --show-error --max-time 60 "$@"; }'
SHELL = frozenset({"sh", "bash", "shell", "console"})


@dataclass(frozen=True)
class Block:
    """One fenced block: its language, whether it says ``run``, its code and the line the code starts at."""

    language: str
    run: bool
    code: str
    line: int


def blocks(text: str) -> list[Block]:
    """Every fenced block of a document, in order."""
    return [
        Block(
            "sh" if match["language"] in SHELL else match["language"],
            "run" in match["rest"].split(),
            match["code"],
            text.count("\n", 0, match.start("code")) + 1,
        )
        for match in FENCE.finditer(text)
    ]


def unrun(text: str) -> list[int]:
    """Lines of blocks of Python, or of calls to the service, that are not marked to be run."""
    return [
        block.line
        for block in blocks(text)
        if not block.run and (block.language == "python" or (block.language == "sh" and "curl" in block.code))
    ]


def script(text: str, language: str) -> str:
    """The blocks of one language marked to be run, each on the lines it has in the document."""
    lines = [""] * text.count("\n")
    for block in blocks(text):
        if block.run and block.language == language:
            code = block.code.splitlines()
            lines[block.line - 1 : block.line - 1 + len(code)] = code
    return "\n".join(lines) + "\n"


def run(command: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    return subprocess.run(
        command, cwd=folder, env={**os.environ, "PATH": path}, capture_output=True, text=True, check=False
    )


def run_python(text: str, folder: Path) -> subprocess.CompletedProcess[str]:
    (folder / "example.py").write_text(script(text, "python"), encoding="utf-8")
    return run([sys.executable, "-W", "error", "example.py"], folder)


def run_shell(text: str, folder: Path, address: str) -> subprocess.CompletedProcess[str]:
    code = script(text, "sh").replace(ADDRESS, address)
    (folder / "example.sh").write_text(f"{SHELL_HEAD}{code}", encoding="utf-8")
    return run(["sh", "example.sh"], folder)


#: What users read: the README, and the guides it leads to.
GUIDES = ("README.md", *sorted(f"openapi/guides/{path.name}" for path in (ROOT / "openapi" / "guides").glob("*.md")))


def guide(name: str) -> str:
    return (ROOT / name).read_text("utf-8")


def showing(language: str) -> list[str]:
    """The guides that show something in a language."""
    return [name for name in GUIDES if any(block.run and block.language == language for block in blocks(guide(name)))]
