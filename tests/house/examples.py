"""Blocks of code in a document, and how they are run as a reader would run them."""

from __future__ import annotations

import re
from dataclasses import dataclass

FENCE = re.compile(r"^```(?P<language>[a-z]*)(?P<rest>[^\n]*)\n(?P<code>.*?)^```[ ]*$", re.M | re.S)
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
