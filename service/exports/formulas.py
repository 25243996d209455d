"""Text in CSV that a spreadsheet would take for a formula: an apostrophe before it on the way out, and off again.

The guard is put before a text that begins with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return, and before one
that is so guarded already; so taking one apostrophe off gives back what went in, whatever it was.
"""

from __future__ import annotations

import re

#: What a text must not begin with. The carriage return is among them because a reader may strip it.
_STARTS = r"[=+\-@\t\r]"
_TO_GUARD = re.compile(f"'*{_STARTS}")
_GUARDED = re.compile(f"'+{_STARTS}")


def guarded(text: str) -> str:
    """Return a text as a cell may hold it."""
    return "'" + text if _TO_GUARD.match(text) else text


def unguarded(text: str) -> str:
    """Return the text of a cell that may have been guarded."""
    return text[1:] if text[:1] == "'" and _GUARDED.match(text) else text
