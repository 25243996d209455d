"""A mark now on one screen of text: at most 24 lines of 80 columns, by the clocks of the mark."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

MOST_LINES, COLUMNS = 24, 80
#: What the screen always ends with.
CAUTION = (
    "Estimates, not for navigation. Look for yourself; follow the coastguard, official",
    "warnings, byelaws and licensed advice.",
)


@dataclass(frozen=True, slots=True)
class Screen:
    """What the screen says, each a line or more of words.

    ``head`` always stands in it, on one line, then ``water``. ``dangers`` are the kinds of danger: every one is
    named, and so is what the account has ``loosened``. ``hazards`` are the texts, the gravest first; ``moves``,
    ``coming`` and ``unknown`` follow as far as there is room, and how many are left out is said.
    """

    head: str
    water: Sequence[str]
    grade: str
    dangers: Sequence[str]
    loosened: str
    hazards: Sequence[str]
    moves: Sequence[str] = ()
    coming: Sequence[str] = ()
    unknown: Sequence[str] = ()


def now_screen(screen: Screen) -> str:
    """Return the screen, each line ended.

    Notes
    -----
    Whole sentences are left out where there is no room, never the end of one; the caution, the kinds of danger and
    what is loosened never are.
    """
    safe = _wrapped(screen.grade)
    if screen.dangers:
        safe += _wrapped(f"DANGER: {', '.join(screen.dangers)}")
    if screen.loosened:
        safe += _wrapped(screen.loosened)
    end = _caution()
    top, dry = [_cut(screen.head)], 0
    for told in screen.water:
        lines = _wrapped(told)
        if len(top) + len(lines) + len(safe) + len(end) < MOST_LINES:
            top += lines
        else:
            dry += 1
    room = MOST_LINES - len(top) - len(safe) - len(end)
    # First what to do, then the gravest hazards, then a little of the rest; then more of each.
    parts = [list(screen.hazards), list(screen.moves), list(screen.coming), list(screen.unknown)]
    least = [3, 3, 2, 1]
    chosen: list[list[str]] = [[], [], [], []]
    for rounds in (least, [99] * 4):
        for part in (1, 0, 2, 3):
            while parts[part] and len(chosen[part]) < rounds[part]:
                lines = _wrapped(parts[part][0], "- ")
                spare = 1 if dry or sum(map(len, parts)) > 1 else 0
                if len(lines) + spare > room:
                    break
                room -= len(lines)
                chosen[part].append(parts[part].pop(0))
    left = [f"{len(rest)} {name}" for rest, name in zip(parts, _LEFT, strict=True) if rest]
    left += [f"{dry} of the water"] if dry else []
    body = [line for part in chosen for sentence in part for line in _wrapped(sentence, "- ")]
    if left:
        body.append(_cut(f"Left out here, in the JSON answer: {', '.join(left)}."))
    return "\n".join((*top, *safe, *body, *end)) + "\n"


_LEFT = ("hazards", "moves", "of what comes", "unknown")


def _caution() -> list[str]:
    return textwrap.wrap(" ".join(CAUTION), COLUMNS)


def _wrapped(sentence: str, mark: str = "") -> list[str]:
    indent = " " * len(mark)
    lines = textwrap.wrap(sentence, COLUMNS, initial_indent=mark, subsequent_indent=indent, break_on_hyphens=False)
    return lines or [mark]


def _cut(line: str) -> str:
    """Return a line of at most 80 columns, with three dots where it was longer."""
    return line if len(line) <= COLUMNS else f"{line[: COLUMNS - 3]}..."
