"""Texts in filters: accents taken off, and patterns of LIKE."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable


def without_accents(text: str) -> str:
    """Return a text without the marks on its letters.

    Examples
    --------
    >>> without_accents("débárquér")
    'debarquer'
    """
    parts = unicodedata.normalize("NFD", text)
    return unicodedata.normalize("NFC", "".join(one for one in parts if not unicodedata.combining(one)))


def like(pattern: str) -> Callable[[str], bool]:
    """Return whether a text is like a pattern: ``%`` is any text, ``_`` one character, ``\\`` takes the next as it is.

    Examples
    --------
    >>> like("%_twilight")("civil_twilight"), like("twi%")("civil_twilight")
    (True, False)
    """
    steps: list[str] = re.findall(r"\\.|.", pattern, re.DOTALL)

    def matches(text: str) -> bool:
        # Where a step does not fit, the last % takes one character more: no more steps than pattern times text.
        step, place, wild, resumed = 0, 0, -1, 0
        while place < len(text):
            if step < len(steps) and steps[step] == "%":
                wild, resumed, step = step, place, step + 1
            elif step < len(steps) and (steps[step] == "_" or steps[step][-1] == text[place]):
                step, place = step + 1, place + 1
            elif wild >= 0:
                resumed += 1
                step, place = wild + 1, resumed
            else:
                return False
        return all(one == "%" for one in steps[step:])

    return matches
