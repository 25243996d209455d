"""Inputs that are no filters, by the thousand, in a process that may die of one: how long the worst of them took.

``python -m tests.tidecore.filters.fuzz SEED COUNT``
"""

from __future__ import annotations

import json
import random
import sys
import time
from typing import Any

import numpy as np

from tests.tidecore.filters.expressions import columns_of, condition, json_of, rows, text_of
from tidecore.errors import InvalidFilter
from tidecore.filters import LANGUAGES, Filter
from tidecore.filters.guard import MOST_CHARACTERS
from tidecore.filters.syntax import Language

_WORDS = (
    "AND OR NOT IN LIKE BETWEEN IS NULL DIV TRUE FALSE ( ) , = < > <= >= <> != + - * / % ^ 1 2.5 1e9 1e999 0 .5 5. "
    "'x' '' "
    "'it''s' \"height\" height direction time light flow_reliable CASEI( ACCENTI( DATE( TIMESTAMP( INTERVAL( T_DURING( "
    "T_AFTER( S_INTERSECTS( POINT( POLYGON(( BBOX( GEOMETRYCOLLECTION( f( '2026-06-01' '..' ' \" { } [ ] ; -- \\ # "
    '"#1" '
    "\x00 \x1b \x7f \ud800 \u202e \u00e9 \U0001f600 \u00a0 \ufeff"
).split(" ")
#: What opens and what closes; repeated, they are deep.
_DEEP = (
    ("(", ")"), ("NOT ", ""), ("NOT(", ")"), ("-", ""), ("CASEI(", ")"), ("1+(", ")"), ("(1=", ")"),
    ("height IN (", ")"),
    ("height=", ""), ("height BETWEEN 1 AND ", ""), ("((", ")"), ("(", ""), ("", ")"), ("f(", ")"), ("INTERVAL(", ")"),
    ("height^", ""), ("height LIKE ", ""), ("'", "'"), ('"', '"'), ("(height=1 AND ", ")"), ("NOT (height=1 OR ", ")"),
    ("(NOT ", "=1)"), ("POLYGON((", "))"), ("a.", ""), ("IN (", ")"), ("(,", ")"), ("((height),", ")"),
    ("T_DURING(", ")"),
)  # fmt: skip
_MIDDLES = ("height=1", "height=", "", "1", "'x'", "height=1 AND height=1 AND height=", "=", ")", "direction LIKE '%'")


def deep(chance: random.Random) -> str:
    before, after = chance.choice(_DEEP)
    most = max(1, MOST_CHARACTERS // max(1, len(before) + len(after)))
    count = chance.choice([chance.randint(1, 30), chance.randint(1, most), most])
    tail = chance.choice([count, count, count - 1, count + 1, 0])
    return f"{before * count}{chance.choice(_MIDDLES)}{after * tail}"


def mutated(chance: random.Random, text: str) -> str:
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(text) + 1)
        to = min(len(text), at + chance.randint(0, 12))
        kind = chance.randrange(5)
        if kind == 0:
            text = text[:at] + text[to:]
        elif kind == 1:
            text = text[:at] + chance.choice(_WORDS) + text[at:]
        elif kind == 2:
            text = text[:to] + text[at:to] * chance.randint(1, 40) + text[to:]
        elif kind == 3:
            text = text[:at] + chr(chance.choice([chance.randrange(128), chance.randrange(0x3000)])) + text[to:]
        else:
            text = text[to:] + text[:at]
    return text


def drawn(chance: random.Random) -> str:
    """One input of at most as many characters as are read."""
    kind = chance.randrange(6)
    if kind == 0:
        text = " ".join(chance.choice(_WORDS) for _ in range(chance.randint(1, 300)))
    elif kind == 1:
        text = "".join(chr(chance.randrange(1, 0x500)) for _ in range(chance.randint(1, 200)))
    elif kind in (2, 3):
        text = deep(chance)
    else:
        tree = condition(chance, 3)
        text = mutated(chance, text_of(tree) if kind == 4 else json.dumps(json_of(tree)))
    return text[:MOST_CHARACTERS]


#: What takes longer is taken again, twice: a pause of the interpreter is not the input's doing [ms].
_PAUSE_MS = 10.0


def took(text: str, language: Language, columns: dict[str, np.ndarray[Any, Any]]) -> tuple[float, bool]:
    """How long an input took [ms], and whether it was a filter."""
    # Of this thread alone: what others take of the machine is not the input's doing either.
    began = time.thread_time()
    try:
        mask = Filter.parse(text, language=language).mask(columns)
    except InvalidFilter:
        return 1000.0 * (time.thread_time() - began), False
    assert set(np.unique(mask).tolist()) <= {-1, 0, 1}
    return 1000.0 * (time.thread_time() - began), True


def main(seed: int, count: int) -> dict[str, object]:
    chance = random.Random(seed)
    columns = columns_of(rows(chance, 8))
    Filter.parse("height > 1")  # the parser is loaded
    worst, slowest, taken, refused = 0.0, "", 0, 0
    for _ in range(count):
        text = drawn(chance)
        for language in LANGUAGES:
            spent, filtered = took(text, language, columns)
            if spent > _PAUSE_MS:
                spent = min(spent, *(took(text, language, columns)[0] for _ in range(2)))
            taken, refused = taken + filtered, refused + (not filtered)
            if spent > worst:
                worst, slowest = spent, ascii(text)[:120]
    return {"taken": taken, "refused": refused, "worst_ms": worst, "slowest": slowest}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(int(sys.argv[1]), int(sys.argv[2]))))
