"""From the tree of a filter to the nodes that are evaluated: names looked up, types checked, every fault named."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeGuard

from tidecore.errors import Fault, InvalidFilter, one_of
from tidecore.filters import temporal
from tidecore.filters.nodes import (
    Always,
    Arithmetic,
    BooleanColumn,
    Comparison,
    Condition,
    Every,
    Not,
    Number,
    NumberColumn,
    NumberConstant,
    OneOf,
    SameText,
    SameTruth,
    Some,
    Unknown,
)
from tidecore.filters.queryable import Queryable
from tidecore.filters.syntax import Written
from tidecore.filters.temporal import Period
from tidecore.filters.texts import like, without_accents

_COMPARISONS = ("=", "<>", "<", "<=", ">", ">=")
_ARITHMETIC = ("+", "-", "*", "/", "%", "div", "^")
#: ``a op b`` is ``b turned a``.
_TURNED = {"=": "=", "<>": "<>", "<": ">", "<=": ">=", ">": "<", ">=": "<="}
_MOST_FAULTS = 50
_FUNCTIONS = frozenset(temporal.FUNCTIONS) | frozenset(temporal.TURNED) | temporal.NEVER


@dataclass(frozen=True, slots=True)
class _TextColumn:
    """A column of categories, with what each becomes before it is compared."""

    column: Queryable
    table: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Instant:
    """The time of a row."""


#: Anything that an expression may be: a number, a truth, a text or categories, a time or times; None where it is wrong.
_Value = Number | Condition | _TextColumn | str | _Instant | Period | None


def compile_filter(written: Written, columns: Mapping[str, Queryable]) -> Condition:
    """Return the condition that a filter states.

    Raises
    ------
    InvalidFilter
        With every fault: columns, operators and functions that there are not, and what cannot be compared.
    """
    compiler = _Compiler(written, columns)
    found = compiler.condition(written.tree, "filter")
    if compiler.faults or found is None:
        raise InvalidFilter(compiler.faults[:_MOST_FAULTS], compiler.position)
    return found


class _Compiler:
    """One compilation; ``faults`` are those found so far, ``position`` that of the first which has one."""

    def __init__(self, written: Written, columns: Mapping[str, Queryable]) -> None:
        self._written, self._columns = written, columns
        self.faults: list[Fault] = []
        self.position: int | None = None

    def condition(self, tree: Any, path: str) -> Condition | None:
        """Return what a tree states, as it must be true or false."""
        found = self._value(tree, path)
        if found is None or _is_condition(found):
            return found
        self._fault(path, f"{self._said(found, tree)}, where a condition is needed", "a comparison, AND, OR, NOT")
        return None

    def _fault(self, path: str, problem: str, expected: str, name: str | None = None) -> None:
        place = self._written.columns.get(name) if name is not None else None
        if place is not None:
            problem = f"{problem}, at character {place + 1}"
            self.position = self.position or place + 1
        # The places of a tree made of a text are not those that anybody wrote.
        field = path if self._written.language == "cql2-json" else "filter"
        fault = Fault(field, problem, expected)
        if fault not in self.faults:
            self.faults.append(fault)

    def _value(self, tree: Any, path: str) -> _Value:
        if isinstance(tree, bool):
            return Always(tree)
        if isinstance(tree, int | float):
            return self._number(tree, path)
        if isinstance(tree, str):
            return tree
        if isinstance(tree, Mapping):
            return self._mapping(tree, path)
        if tree is None:
            self._fault(path, "compares with NULL", "IS NULL, which asks whether a column is unknown")
            return None
        self._fault(path, "has a list where a value is needed", "a list after IN alone")
        return None

    def _number(self, value: float, path: str) -> Number | None:
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            self._fault(path, f"has the number {str(value)[:40]}", "a number that a double holds")
            return None
        return NumberConstant(number)

    def _mapping(self, tree: Mapping[str, Any], path: str) -> _Value:
        keys = set(tree)
        if keys == {"property"}:
            return self._column(tree["property"], f"{path}.property")
        if keys == {"timestamp"} or keys == {"date"}:
            return self._instant(tree, path)
        if keys == {"interval"}:
            return self._interval(tree["interval"], f"{path}.interval")
        if keys != {"op", "args"} or not isinstance(tree["op"], str) or not isinstance(tree["args"], list):
            self._fault(path, "is no expression", "an object with op and args, property, date, timestamp or interval")
            return None
        return self._operation(tree["op"], tree["args"], path)

    def _column(self, name: Any, path: str) -> _Value:
        column = self._columns.get(name) if isinstance(name, str) else None
        if column is None:
            said, known = f"there is no column {ascii(name)[:60]}", one_of(self._columns, name)
            self._fault(path, said, known, name if isinstance(name, str) else None)
            return None
        if column.kind == "number":
            return NumberColumn(column.name)
        if column.kind == "boolean":
            return BooleanColumn(column.name)
        if column.kind == "category":
            return _TextColumn(column, tuple((text, text) for text in column.categories))
        return _Instant()

    def _instant(self, tree: Mapping[str, Any], path: str) -> Period | None:
        ((kind, text),) = tree.items()
        read = temporal.read_timestamp if kind == "timestamp" else temporal.read_date
        found = read(text) if isinstance(text, str) else None
        if found is None:
            example = "2026-06-01T04:00:00Z" if kind == "timestamp" else "2026-06-01"
            self._fault(f"{path}.{kind}", f"{ascii(text)[:60]} is no {kind}", f"one as {example}, in UTC")
            return None
        return found

    def _interval(self, ends: Any, path: str) -> Period | None:
        if isinstance(ends, list) and len(ends) == 2:
            if any(isinstance(end, Mapping) for end in ends):
                self._fault(path, "makes an interval of columns", "two texts: a row has one time, not two")
                return None
            if all(isinstance(end, str) for end in ends):
                found = temporal.read_interval(*ends)
                if found is not None:
                    return found
        expected = "two texts in order, each a timestamp with Z, a date, or '..'"
        self._fault(path, f"{ascii(ends)[:80]} is no interval", expected)
        return None

    def _operation(self, op: str, args: list[Any], path: str) -> _Value:
        name = op.lower()
        handlers: dict[str, Callable[[str, list[Any], str], _Value]] = {
            "and": self._joined,
            "or": self._joined,
            "not": self._not,
            "between": self._between,
            "in": self._in,
            "like": self._like,
            "isnull": self._is_null,
            "casei": self._folded,
            "accenti": self._folded,
            **dict.fromkeys(_COMPARISONS, self._compared),
            **dict.fromkeys(_ARITHMETIC, self._calculated),
            **dict.fromkeys(_FUNCTIONS, self._temporal),
        }
        counts = {"not": (1, 1), "isnull": (1, 1), "casei": (1, 1), "accenti": (1, 1), "between": (3, 3),
                  "and": (2, 10_000), "or": (2, 10_000)}  # fmt: skip
        if name not in handlers:
            kind = "no spatial or array functions" if name[:2] in ("s_", "a_") else "no such operator or function"
            self._fault(path, f"{ascii(op)[:60]}: there are {kind} here", one_of(handlers, op))
            return None
        least, most = counts.get(name, (2, 2))
        if not least <= len(args) <= most:
            wanted = str(least) if least == most else f"at least {least}"
            self._fault(f"{path}.args", f"{op} has {len(args)} operands", wanted)
            return None
        return handlers[name](name, args, path)

    def _joined(self, name: str, args: list[Any], path: str) -> Condition | None:
        parts = [self.condition(arg, f"{path}.args.{place}") for place, arg in enumerate(args)]
        known = tuple(part for part in parts if part is not None)
        if len(known) < len(parts):
            return None
        return Every(known) if name == "and" else Some(known)

    def _not(self, name: str, args: list[Any], path: str) -> Condition | None:
        part = self.condition(args[0], f"{path}.args.0")
        return None if part is None else Not(part)

    def _is_null(self, name: str, args: list[Any], path: str) -> Condition | None:
        found = self._value(args[0], f"{path}.args.0")
        if found is None:
            return None
        if isinstance(found, _TextColumn):
            # Every category that there is: unknown where it is none of them.
            return Unknown(OneOf(found.column.name, found.column.categories))
        if isinstance(found, str | _Instant | Period):
            return Always(False)
        return Unknown(found)

    def _between(self, name: str, args: list[Any], path: str) -> Condition | None:
        least, most = ({"op": op, "args": [args[0], bound]} for op, bound in ((">=", args[1]), ("<=", args[2])))
        parts = [self._compare(tree, path) for tree in (least, most)]
        return None if parts[0] is None or parts[1] is None else Every((parts[0], parts[1]))

    def _compare(self, tree: Mapping[str, Any], path: str) -> Condition | None:
        found = self._compared(tree["op"], tree["args"], path)
        return found if found is None or _is_condition(found) else None

    def _in(self, name: str, args: list[Any], path: str) -> Condition | None:
        items = args[1]
        if not isinstance(items, list) or not items:
            self._fault(f"{path}.args.1", "IN has no list", "at least one value in brackets")
            return None
        parts = [self._compared("=", [args[0], item], path) for item in items]
        known = tuple(part for part in parts if part is not None)
        return Some(known) if len(known) == len(parts) else None

    def _compared(self, op: str, args: list[Any], path: str) -> Condition | None:
        left, right = (self._value(arg, f"{path}.args.{place}") for place, arg in enumerate(args))
        if left is None or right is None:
            return None
        if _is_number(left) and _is_number(right):
            return Comparison(op, left, right)
        if isinstance(left, _Instant) and isinstance(right, Period) and right.kind != "interval":
            return temporal.COMPARED[op](right)
        if isinstance(right, _Instant) and isinstance(left, Period) and left.kind != "interval":
            return temporal.COMPARED[_TURNED[op]](left)
        if op in ("=", "<>"):
            same = self._same(left, right, path)
            if same is not None:
                return Not(same) if op == "<>" else same
            if self.faults and isinstance(left, str | _TextColumn) and isinstance(right, str | _TextColumn):
                return None
        self._unlike(op, (left, args[0]), (right, args[1]), path)
        return None

    def _same(self, left: _Value, right: _Value, path: str) -> Condition | None:
        """Return the equality of two truths or two texts; None where they are of other kinds."""
        if _is_condition(left) and _is_condition(right):
            return SameTruth(left, right)
        if isinstance(left, str) and isinstance(right, str):
            return Always(left == right)
        if isinstance(left, _TextColumn) and isinstance(right, _TextColumn):
            return SameText(left.column.name, left.table, right.column.name, right.table)
        if isinstance(left, str) and isinstance(right, _TextColumn):
            left, right = right, left
        if isinstance(left, _TextColumn) and isinstance(right, str):
            chosen = tuple(text for text, compared in left.table if compared == right)
            if chosen:
                return OneOf(left.column.name, chosen)
            there = ", ".join(repr(compared) for _, compared in left.table)
            self._fault(path, f"{left.column.name} is never {ascii(right)[:60]}", f"one of: {there}", left.column.name)
        return None

    def _unlike(self, op: str, left: tuple[_Value, Any], right: tuple[_Value, Any], path: str) -> None:
        """Say that two things cannot be compared, by what they are."""
        said = f"{self._said(*left)}, and {self._said(*right)}: {op.upper()} cannot compare them"
        kinds = {type(one[0]) for one in (left, right)}
        expected = "two numbers, two texts with = or <>, two truths with = or <>"
        if _Instant in kinds:
            expected = (
                "time with TIMESTAMP('2026-06-01T04:00:00Z') or DATE('2026-06-01'); intervals in T_DURING and others"
            )
        elif _TextColumn in kinds and op not in ("=", "<>"):
            expected = "= or <>: categories have no order"
        names = [tree.get("property") for _, tree in (left, right) if isinstance(tree, Mapping)]
        self._fault(path, said, expected, next((name for name in names if isinstance(name, str)), None))

    def _calculated(self, name: str, args: list[Any], path: str) -> Number | None:
        values = [self._value(arg, f"{path}.args.{place}") for place, arg in enumerate(args)]
        for value, arg in zip(values, args, strict=True):
            if value is not None and not _is_number(value):
                column = arg.get("property") if isinstance(arg, Mapping) else None
                self._fault(path, f"{self._said(value, arg)}, and {name} calculates", "numbers on both sides", column)
                return None
        left, right = values
        return Arithmetic(name, left, right) if _is_number(left) and _is_number(right) else None

    def _folded(self, name: str, args: list[Any], path: str) -> _Value:
        fold = str.casefold if name == "casei" else without_accents
        found = self._value(args[0], f"{path}.args.0")
        if isinstance(found, str):
            return fold(found)
        if isinstance(found, _TextColumn):
            return _TextColumn(found.column, tuple((text, fold(compared)) for text, compared in found.table))
        if found is None:
            return None
        self._fault(path, f"{self._said(found, args[0])}, and {name.upper()} is of texts", "a text or a category")
        return None

    def _like(self, name: str, args: list[Any], path: str) -> Condition | None:
        left, pattern = (self._value(arg, f"{path}.args.{place}") for place, arg in enumerate(args))
        if left is None or pattern is None:
            return None
        if not isinstance(left, _TextColumn) or not isinstance(pattern, str):
            self._unlike("like", (left, args[0]), (pattern, args[1]), path)
            return None
        matches = like(pattern)
        return OneOf(left.column.name, tuple(text for text, compared in left.table if matches(compared)))

    def _temporal(self, name: str, args: list[Any], path: str) -> Condition | None:
        left, right = (self._value(arg, f"{path}.args.{place}") for place, arg in enumerate(args))
        if left is None or right is None:
            return None
        function: str | None = name
        if isinstance(right, _Instant):
            left, right, function = right, left, temporal.TURNED.get(name)
        if not isinstance(left, _Instant) or not isinstance(right, Period):
            said = f"{name.upper()} compares {self._said(left, args[0])} with {self._said(right, args[1])}"
            self._fault(path, said, "time on one side, TIMESTAMP, DATE or INTERVAL on the other")
            return None
        meaning = temporal.FUNCTIONS.get(function or "")
        if meaning is None or (function in temporal.OF_INTERVALS and right.kind != "interval"):
            said = f"{name.upper()} cannot be true of an instant so"
            self._fault(path, said, f"one of: {', '.join(temporal.FUNCTIONS).upper()}; the last three of an INTERVAL")
            return None
        return meaning(right)

    def _said(self, value: _Value, tree: Any) -> str:
        """Return what a value is, in words."""
        name = tree.get("property") if isinstance(tree, Mapping) else None
        if isinstance(name, str) and name in self._columns:
            return str(self._columns[name])
        if isinstance(value, str):
            return f"{ascii(value)[:60]} is a text"
        if isinstance(value, NumberConstant):
            return f"{value.value:g} is a number"
        if isinstance(value, Always):
            return f"{str(value.value).upper()} is a truth"
        if isinstance(value, Period):
            return f"this is {'an' if value.kind == 'interval' else 'a'} {value.kind}"
        if isinstance(value, _TextColumn):
            return f"a text of {value.column.name}"
        if _is_number(value):
            return "this is a number"
        return "this is a condition"


def _is_number(value: object) -> TypeGuard[Number]:
    return isinstance(value, NumberColumn | NumberConstant | Arithmetic)


def _is_condition(value: object) -> TypeGuard[Condition]:
    return value is not None and not _is_number(value) and not isinstance(value, _TextColumn | str | _Instant | Period)
