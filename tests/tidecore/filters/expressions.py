"""Random filters, each with its text, its JSON and its worth at a row by plain Python: a second evaluator.

An expression is a tuple of an operator and its operands. None is unknown, in a row and in a result.
"""

from __future__ import annotations

import math
import random
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from tidecore.timeline import find_factor

Row = dict[str, Any]
Tree = tuple[Any, ...]

NUMBERS = ("height", "flow_index", "sun_altitude", "wave_height", "month", "minutes_from_sunset")
CATEGORIES = ("direction", "light", "clarity")
BOOLEANS = ("flow_reliable",)
START = datetime(2026, 6, 1, tzinfo=UTC)
COMPARISONS = ("=", "<>", "<", "<=", ">", ">=")


def rows(chance: random.Random, count: int) -> list[Row]:
    """Rows with a third of the values unknown."""

    def some(value: Any) -> Any:
        return None if chance.random() < 0.3 else value

    return [
        {
            **{name: some(chance.choice([0.0, 1.0, -1.0, 0.5, chance.uniform(-9, 9)])) for name in NUMBERS},
            **{name: some(chance.choice(find_factor(name).categories)) for name in CATEGORIES},
            **{name: some(chance.random() < 0.5) for name in BOOLEANS},
            "time": START + timedelta(minutes=chance.choice([0, 1440, chance.randrange(5 * 1440)])),
        }
        for _ in range(count)
    ]


def columns_of(found: list[Row]) -> dict[str, np.ndarray[Any, Any]]:
    """The rows as the columns of a timeline."""
    columns: dict[str, np.ndarray[Any, Any]] = {
        name: np.array([math.nan if row[name] is None else row[name] for row in found]) for name in NUMBERS
    }
    columns |= {name: np.array([row[name] or "" for row in found]) for name in CATEGORIES}
    columns |= {
        name: np.array([-1 if row[name] is None else int(row[name]) for row in found], dtype=np.int8)
        for name in BOOLEANS
    }
    columns["time"] = np.array([row["time"].replace(tzinfo=None) for row in found], dtype="datetime64[us]")
    return columns


def number(chance: random.Random, depth: int) -> Tree:
    kind = chance.random()
    if depth == 0 or kind < 0.3:
        return ("column", chance.choice(NUMBERS))
    if kind < 0.6:
        return ("number", chance.choice([0.0, 1.0, 2.0, 0.5, round(chance.uniform(-9, 9), 2)]))
    op = chance.choice(["+", "-", "*", "/", "%", "div", "^"])
    return (op, number(chance, depth - 1), number(chance, depth - 1))


def moment(chance: random.Random) -> Tree:
    day = START + timedelta(days=chance.randrange(5))
    if chance.random() < 0.5:
        return ("date", f"{day:%Y-%m-%d}")
    return ("timestamp", f"{day + timedelta(minutes=chance.randrange(1440)):%Y-%m-%dT%H:%M:%SZ}")


def interval(chance: random.Random) -> Tree:
    first, last = sorted(chance.sample(range(5), 2))
    ends = [f"{START + timedelta(days=day):%Y-%m-%d}" for day in (first, last)]
    if chance.random() < 0.3:
        ends[chance.randrange(2)] = ".."
    return ("interval", *ends)


def leaf(chance: random.Random) -> Tree:
    """A condition without AND, OR and NOT."""
    kind = chance.randrange(9)
    if kind <= 2:
        return (chance.choice(COMPARISONS), number(chance, 2), number(chance, 2))
    if kind == 3:
        return ("between", number(chance, 1), number(chance, 1), number(chance, 1))
    if kind == 4:
        return ("in", number(chance, 1), *(number(chance, 0) for _ in range(chance.randint(1, 3))))
    if kind == 5:
        name = chance.choice(CATEGORIES)
        texts = find_factor(name).categories
        how = chance.randrange(4)
        if how == 0:
            return (chance.choice(["=", "<>"]), ("column", name), ("text", chance.choice(texts)))
        if how == 1:
            return ("in", ("column", name), *(("text", text) for text in chance.sample(texts, 2)))
        if how == 2:
            return ("=", ("casei", ("column", name)), ("casei", ("text", chance.choice(texts).upper())))
        word = chance.choice(texts)
        return (
            "like",
            ("column", name),
            ("text", chance.choice([f"%{word[1:3]}%", f"{word[:2]}%", f"_{word[1:]}", "%"])),
        )
    if kind == 6:
        name = chance.choice(BOOLEANS)
        return chance.choice([("column", name), ("=", ("column", name), ("truth", chance.random() < 0.5))])
    if kind == 7:
        return ("isNull", ("column", chance.choice(NUMBERS + CATEGORIES + BOOLEANS)))
    if chance.random() < 0.4:
        return (chance.choice(COMPARISONS), ("column", "time"), moment(chance))
    name = chance.choice(["t_after", "t_before", "t_during", "t_intersects", "t_disjoint"])
    return (name, ("column", "time"), interval(chance))


def condition(chance: random.Random, depth: int) -> Tree:
    """A condition with up to ``depth`` levels of AND, OR and NOT."""
    if depth == 0 or chance.random() < 0.25:
        return leaf(chance)
    op = chance.choice(["and", "or", "not"])
    if op == "not":
        return ("not", condition(chance, depth - 1))
    return (op, *(condition(chance, depth - 1) for _ in range(chance.randint(2, 3))))


def text_of(tree: Tree) -> str:
    """The tree as CQL2 text, every operand in brackets."""
    op, *parts = tree
    if op in ("column", "number"):
        return str(parts[0])
    if op == "text":
        return "'" + str(parts[0]).replace("'", "''") + "'"
    if op == "truth":
        return str(parts[0]).upper()
    if op in ("date", "timestamp", "interval"):
        return f"{op.upper()}({', '.join(repr(part) for part in parts)})"
    said = [
        text_of(part) if part[0] in ("column", "number", "text", "truth") else f"({text_of(part)})" for part in parts
    ]
    if op in ("casei",) or op.startswith("t_"):
        return f"{op.upper()}({', '.join(text_of(part) for part in parts)})"
    if op == "not":
        return f"NOT ({text_of(parts[0])})"
    if op == "isNull":
        return f"{said[0]} IS NULL"
    if op == "between":
        return f"{said[0]} BETWEEN {said[1]} AND {said[2]}"
    if op == "in":
        return f"{said[0]} IN ({', '.join(said[1:])})"
    left = text_of(parts[0]) if parts[0][0] == "casei" else said[0]
    right = [
        text_of(part) if part[0] in ("casei", "date", "timestamp") else one
        for part, one in zip(parts, said, strict=True)
    ]
    return f" {op.upper()} ".join([left, *right[1:]])


def json_of(tree: Tree) -> Any:
    """The tree as CQL2 JSON."""
    op, *parts = tree
    if op == "column":
        return {"property": parts[0]}
    if op in ("number", "text", "truth"):
        return parts[0]
    if op in ("date", "timestamp"):
        return {op: parts[0]}
    if op == "interval":
        return {"interval": parts}
    if op == "in":
        return {"op": "in", "args": [json_of(parts[0]), [json_of(part) for part in parts[1:]]]}
    return {"op": op, "args": [json_of(part) for part in parts]}


def worth(tree: Tree, row: Row) -> Any:
    """The worth of the tree at a row: a number, a text or a truth, or None where unknown."""
    op, *parts = tree
    if op == "column":
        return row[parts[0]]
    if op in ("number", "text", "truth"):
        return parts[0]
    if op == "and":
        found = [worth(part, row) for part in parts]
        return False if False in found else None if None in found else True
    if op == "or":
        found = [worth(part, row) for part in parts]
        return True if True in found else None if None in found else False
    if op == "in":
        return worth(("or", *(("=", parts[0], part) for part in parts[1:])), row)
    if op == "between":
        return worth(("and", (">=", parts[0], parts[1]), ("<=", parts[0], parts[2])), row)
    if op == "isNull":
        return worth(parts[0], row) is None
    if op.startswith("t_") or (op in COMPARISONS and parts[0] == ("column", "time")):
        return _timed(op, row["time"], parts[1])
    found = [worth(part, row) for part in parts]
    return None if None in found else _known(op, *found)


def _known(op: str, left: Any, right: Any = None) -> Any:
    if op == "not":
        return not left
    if op == "casei":
        return left.lower()
    if op == "like":
        return _like(left, right)
    if op in COMPARISONS:
        return {"=": left == right, "<>": left != right, "<": left < right, "<=": left <= right, ">": left > right,
                ">=": left >= right}[op]  # fmt: skip
    try:
        result = {
            "+": lambda: left + right,
            "-": lambda: left - right,
            "*": lambda: left * right,
            "/": lambda: left / right,
            "div": lambda: float(math.trunc(left / right)),
            "%": lambda: math.fmod(left, right),
            "^": lambda: left**right,
        }[op]()
    except (ZeroDivisionError, OverflowError, ValueError):
        return None
    return result if isinstance(result, float) and math.isfinite(result) else None


def _like(text: str, pattern: str) -> bool:
    """By recursion, where the filter goes forth and back."""
    if not pattern:
        return not text
    if pattern[0] == "%":
        return any(_like(text[place:], pattern[1:]) for place in range(len(text) + 1))
    return bool(text) and pattern[0] in ("_", text[0]) and _like(text[1:], pattern[1:])


def _timed(op: str, time: datetime, other: Tree) -> bool:
    """Of a day all its microseconds; of an interval its ends as well."""
    far = timedelta(days=40_000)

    def ends(text: str) -> tuple[datetime, datetime]:
        if text.endswith("Z"):
            instant = datetime.fromisoformat(text)
            return instant, instant
        day = datetime.fromisoformat(text).replace(tzinfo=UTC)
        return day, day + timedelta(days=1, microseconds=-1)

    if other[0] == "interval":
        first = START - far if other[1] == ".." else ends(other[1])[0]
        last = START + far if other[2] == ".." else ends(other[2])[1]
    else:
        first, last = ends(other[1])
    return {
        "=": first <= time <= last, "t_intersects": first <= time <= last,
        "<>": not first <= time <= last, "t_disjoint": not first <= time <= last,
        "<": time < first, "t_before": time < first, "<=": time <= last,
        ">": time > last, "t_after": time > last, ">=": time >= first, "t_during": first < time < last,
    }[op]  # fmt: skip
