"""The parts of a compiled filter, and what they are worth at instants, by a logic of three values.

A number that is unknown, not finite or was divided by nothing is NaN. A truth is two arrays: where it is true, and
where it is false; where it is neither it is unknown, and so is what is made of it unless the rest decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tidecore.units import AnyArray, BoolArray, FloatArray

Columns = Mapping[str, AnyArray]


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """Where something is true, and where it is false."""

    true: BoolArray
    false: BoolArray


class Number(Protocol):
    """An expression whose value is a number."""

    def values(self, columns: Columns) -> FloatArray:
        """Return the values, NaN where unknown."""


class Condition(Protocol):
    """An expression that is true, false or unknown."""

    def truth(self, columns: Columns) -> Truth:
        """Return where it is true and where false."""


@dataclass(frozen=True, slots=True)
class NumberColumn:
    """A column of numbers."""

    name: str

    def values(self, columns: Columns) -> FloatArray:
        """Return the values of the column; an infinity is as unknown as NaN."""
        values = np.asarray(columns[self.name], dtype=np.float64)
        return np.where(np.isfinite(values), values, np.nan)


@dataclass(frozen=True, slots=True)
class NumberConstant:
    """A number of the filter itself."""

    value: float

    def values(self, columns: Columns) -> FloatArray:
        """Return the number."""
        return np.array(self.value)


@dataclass(frozen=True, slots=True)
class Arithmetic:
    """``left op right``; ``div`` cuts towards 0 and ``%`` has the sign of its left side, so a = b (a div b) + a % b."""

    op: str
    left: Number
    right: Number

    def values(self, columns: Columns) -> FloatArray:
        """Return the results, NaN where one is not finite or an operand is unknown."""
        left, right = self.left.values(columns), self.right.values(columns)
        with np.errstate(all="ignore"):
            found = self._result(left, right)
        # 1 to the power of NaN and NaN to the power of 0 are 1 to the processor.
        known = np.isfinite(found) & ~np.isnan(left) & ~np.isnan(right)
        return np.where(known, found, np.nan)

    def _result(self, left: FloatArray, right: FloatArray) -> FloatArray:
        if self.op == "+":
            return np.asarray(left + right)
        if self.op == "-":
            return np.asarray(left - right)
        if self.op == "*":
            return np.asarray(left * right)
        if self.op == "^":
            return np.asarray(np.power(left, right))
        if self.op == "%":
            return np.asarray(np.fmod(left, right))
        ratio = np.asarray(left / right)
        return np.asarray(np.trunc(ratio)) if self.op == "div" else ratio


@dataclass(frozen=True, slots=True)
class Comparison:
    """``left op right`` of two numbers."""

    op: str
    left: Number
    right: Number

    def truth(self, columns: Columns) -> Truth:
        """Return where it holds; unknown where a side is."""
        left, right = self.left.values(columns), self.right.values(columns)
        known = ~np.isnan(left) & ~np.isnan(right)
        compared = {
            "=": np.equal, "<>": np.not_equal, "<": np.less, "<=": np.less_equal, ">": np.greater,
            ">=": np.greater_equal,
        }[self.op](left, right)  # fmt: skip
        return Truth(known & compared, known & ~compared)

    def margin(self, columns: Columns) -> FloatArray:
        """Return how far the left side is above the right one, NaN where unknown."""
        return np.asarray(self.left.values(columns) - self.right.values(columns))


@dataclass(frozen=True, slots=True)
class OneOf:
    """Whether a category is one of ``chosen``."""

    name: str
    chosen: tuple[str, ...]

    def truth(self, columns: Columns) -> Truth:
        """Return where it is one of them; unknown where the category is."""
        values = columns[self.name]
        known, found = np.asarray(values != ""), np.isin(values, np.array(self.chosen, dtype=np.str_))
        return Truth(found & known, known & ~found)


@dataclass(frozen=True, slots=True)
class SameText:
    """Whether two categories, each by a table from its texts to those compared, are the same."""

    left: str
    left_table: tuple[tuple[str, str], ...]
    right: str
    right_table: tuple[tuple[str, str], ...]

    def truth(self, columns: Columns) -> Truth:
        """Return where they are; unknown where one of them is."""
        left, right = _looked_up(columns[self.left], self.left_table), _looked_up(columns[self.right], self.right_table)
        known, same = (left != "") & (right != ""), left == right
        return Truth(known & same, known & ~same)


def _looked_up(values: AnyArray, table: tuple[tuple[str, str], ...]) -> AnyArray:
    width = max((len(to) for _, to in table), default=1)
    found = np.zeros(values.shape, dtype=np.dtypes.StrDType(max(1, width)))
    for text, to in table:
        found[values == text] = to
    return found


@dataclass(frozen=True, slots=True)
class BooleanColumn:
    """A column of 1 for true, 0 for false and -1 for unknown."""

    name: str

    def truth(self, columns: Columns) -> Truth:
        """Return what the column says."""
        values = columns[self.name]
        return Truth(np.asarray(values == 1), np.asarray(values == 0))


@dataclass(frozen=True, slots=True)
class TimeWithin:
    """Whether the time is from ``first_us`` to ``last_us``, both among them [microseconds since 1970]."""

    first_us: int
    last_us: int

    def truth(self, columns: Columns) -> Truth:
        """Return where it is; the time is always known."""
        inside = (columns["time"] >= self.first_us) & (columns["time"] <= self.last_us)
        return Truth(np.asarray(inside), np.asarray(~inside))


@dataclass(frozen=True, slots=True)
class Always:
    """TRUE or FALSE."""

    value: bool

    def truth(self, columns: Columns) -> Truth:
        """Return the value."""
        return Truth(np.array(self.value), np.array(not self.value))


@dataclass(frozen=True, slots=True)
class Not:
    """The contrary; of what is unknown it is unknown."""

    part: Condition

    def truth(self, columns: Columns) -> Truth:
        """Return the contrary."""
        found = self.part.truth(columns)
        return Truth(found.false, found.true)


@dataclass(frozen=True, slots=True)
class Every:
    """AND: false where one part is, true where all are."""

    parts: tuple[Condition, ...]

    def truth(self, columns: Columns) -> Truth:
        """Return where all parts are true, and where one is false."""
        true, false = np.array(True), np.array(False)
        for part in self.parts:
            found = part.truth(columns)
            true, false = true & found.true, false | found.false
        return Truth(np.asarray(true), np.asarray(false))


@dataclass(frozen=True, slots=True)
class Some:
    """OR: true where one part is, false where all are."""

    parts: tuple[Condition, ...]

    def truth(self, columns: Columns) -> Truth:
        """Return where one part is true, and where all are false."""
        true, false = np.array(False), np.array(True)
        for part in self.parts:
            found = part.truth(columns)
            true, false = true | found.true, false & found.false
        return Truth(np.asarray(true), np.asarray(false))


@dataclass(frozen=True, slots=True)
class SameTruth:
    """Whether two truths are the same; unknown where one is."""

    left: Condition
    right: Condition

    def truth(self, columns: Columns) -> Truth:
        """Return where both are true or both false."""
        one, other = self.left.truth(columns), self.right.truth(columns)
        return Truth(
            np.asarray((one.true & other.true) | (one.false & other.false)),
            np.asarray((one.true & other.false) | (one.false & other.true)),
        )


@dataclass(frozen=True, slots=True)
class Unknown:
    """IS NULL: whether something is unknown; that is always known."""

    part: Number | Condition

    def truth(self, columns: Columns) -> Truth:
        """Return where it is unknown."""
        if isinstance(self.part, NumberColumn | NumberConstant | Arithmetic):
            unknown = np.isnan(self.part.values(columns))
        else:
            found = self.part.truth(columns)  # type: ignore[union-attr]
            unknown = ~(found.true | found.false)
        return Truth(np.asarray(unknown), np.asarray(~unknown))


def parts_of(node: Number | Condition) -> Iterator[Number | Condition]:
    """Return a node and everything inside it."""
    yield node
    inside: tuple[Number | Condition, ...] = ()
    if isinstance(node, Every | Some):
        inside = node.parts
    elif isinstance(node, Not | Unknown):
        inside = (node.part,)
    elif isinstance(node, Comparison | Arithmetic | SameTruth):
        inside = (node.left, node.right)
    for part in inside:
        yield from parts_of(part)
