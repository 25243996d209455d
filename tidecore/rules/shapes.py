"""Shapes: how well a value of a factor suits, from 0 (not at all) to 1 (fully)."""

from __future__ import annotations

import math
from functools import cached_property
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, PlainValidator, WithJsonSchema, field_validator, model_validator

from tidecore.place import Document, Number, fault
from tidecore.timeline.factor import Factor
from tidecore.units import AnyArray, FloatArray

#: A corner of a shape.
Corner = Annotated[Number, Field(ge=-1e9, le=1e9)]
#: Most values of a set.
MOST_VALUES = 50


class Trapezoid(Document):
    """From 0 at ``from`` up to 1 at ``full_from``, 1 on to ``full_to``, and down to 0 at ``to``.

    Two equal corners are an edge at which the value itself suits fully. A side whose two corners are both left out
    (null) is open. All in the unit of the factor.
    """

    kind: Literal["trapezoid"]
    from_: Annotated[Corner | None, Field(alias="from")] = None
    full_from: Corner | None = None
    full_to: Corner | None = None
    to: Corner | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        """Refuse half a side, no side at all, and corners that run backwards."""
        for outer, inner, names in (
            (self.from_, self.full_from, "from, full_from"),
            (self.to, self.full_to, "full_to, to"),
        ):
            if (outer is None) != (inner is None):
                raise fault(f"gives one of {names}", "both of them, or neither for an open side")
        corners = [c for c in (self.from_, self.full_from, self.full_to, self.to) if c is not None]
        if not corners:
            raise fault("has no corner, so every value would suit", "at least one side with both its corners")
        if corners != sorted(corners):
            shown = ", ".join(f"{corner:g}" for corner in corners)
            raise fault(f"runs backwards: {shown}", "from <= full_from <= full_to <= to")
        return self

    def fits(self, factor: Factor) -> str | None:
        """Return what is wrong with this shape for ``factor``, None if nothing is."""
        return None if factor.kind == "number" else f"is for numbers, and {factor.name} is a {factor.kind}"

    def membership(self, values: AnyArray, factor: Factor) -> FloatArray:
        """Return how well each value suits, 0 to 1; NaN where the value is unknown."""
        corners, heights = self._line
        if corners:
            return np.interp(values, corners, heights)
        suits = np.where(np.isnan(values), np.nan, 1.0)
        if self.from_ is not None and self.full_from is not None:
            suits = np.minimum(suits, _ramp(values - self.from_, self.full_from - self.from_))
        if self.to is not None and self.full_to is not None:
            suits = np.minimum(suits, _ramp(self.to - values, self.to - self.full_to))
        return suits

    @cached_property
    def _line(self) -> tuple[list[float], list[float]]:
        """The corners and the memberships there; none where a side is an edge, of which a line knows no value."""
        sides = (((self.from_, 0.0), (self.full_from, 1.0)), ((self.full_to, 1.0), (self.to, 0.0)))
        points = [(c, h) for side in sides for c, h in side if c is not None]
        if any(one[0] is not None and one[0] == other[0] for one, other in sides):
            return [], []
        if self.full_from is not None and self.full_from == self.full_to:
            del points[1]
        return [corner for corner, _ in points], [height for _, height in points]

    def corners(self, factor: Factor) -> tuple[float, ...]:
        """Return the values at which the membership turns a corner."""
        return tuple(c for c in (self.from_, self.full_from, self.full_to, self.to) if c is not None)


class Cyclic(Document):
    """A trapezoid on a scale that closes on itself: round from ``from`` to ``to``, past its end if it must.

    ``period`` is the length of the round in the unit of the factor; left out, the factor's own.
    """

    kind: Literal["cyclic"]
    from_: Annotated[Corner, Field(alias="from")]
    full_from: Corner
    full_to: Corner
    to: Corner
    period: Annotated[Number, Field(gt=0.0)] | None = None

    def fits(self, factor: Factor) -> str | None:
        """Return what is wrong with this shape for ``factor``, None if nothing is."""
        if factor.period is None:
            return f"is for scales that close on themselves, and {factor.name} has no period"
        if self.period is not None and self.period != factor.period:
            return f"has the period {self.period:g}, and {factor.name} has {factor.period:g}"
        corners = (self.from_, self.full_from, self.full_to, self.to)
        if not all(0.0 <= corner <= factor.period for corner in corners):
            return f"leaves the scale of {factor.name}, 0 to {factor.period:g}"
        if 0.0 in corners and factor.period in corners:
            return f"names both 0 and {factor.period:g}, which are one point of the scale"
        passed = [(corner - self.from_) % factor.period for corner in corners]
        if passed != sorted(passed):
            shown = ", ".join(f"{corner:g}" for corner in corners)
            return f"goes round more than once or backwards: {shown}"
        return None

    def membership(self, values: AnyArray, factor: Factor) -> FloatArray:
        """Return how well each value suits, 0 to 1; NaN where the value is unknown."""
        period = factor.period if factor.period is not None else math.inf
        round_ = [(corner - self.from_) % period for corner in (self.full_from, self.full_to, self.to)]
        passed = np.mod(values - self.from_, period)
        return np.minimum(_ramp(passed, round_[0]), _ramp(round_[2] - passed, round_[2] - round_[1]))

    def corners(self, factor: Factor) -> tuple[float, ...]:
        """Return the values at which the membership turns a corner."""
        return (self.from_, self.full_from, self.full_to, self.to)


def _set_value(value: object) -> str | bool:
    if not isinstance(value, str | bool) or (isinstance(value, str) and not 0 < len(value) <= 120):
        raise fault(f"is {ascii(value)[:60]}", "a value of the factor, as text, or true or false")
    return value


SetValue = Annotated[str | bool, PlainValidator(_set_value), WithJsonSchema({"type": ["string", "boolean"]})]


class ValueSet(Document):
    """1 for the ``values`` listed, 0 for any other."""

    kind: Literal["set"]
    values: Annotated[tuple[SetValue, ...], Field(min_length=1, max_length=MOST_VALUES)]

    @field_validator("values")
    @classmethod
    def _different(cls, values: tuple[str | bool, ...]) -> tuple[str | bool, ...]:
        if len(set(values)) < len(values):
            raise fault("lists a value twice", "each value once")
        return values

    def fits(self, factor: Factor) -> str | None:
        """Return what is wrong with this shape for ``factor``, None if nothing is."""
        if factor.kind == "number":
            return f"is for categories, and {factor.name} is a number"
        known: tuple[str | bool, ...] = factor.categories if factor.kind == "category" else (True, False)
        strange = [ascii(value)[:60] for value in self.values if value not in known]
        if strange:
            return f"lists {', '.join(strange)}; {factor.name} has {', '.join(map(ascii, known))}"
        return None

    def membership(self, values: AnyArray, factor: Factor) -> FloatArray:
        """Return how well each value suits, 0 or 1; NaN where the value is unknown."""
        # One comparison a value costs less than sorting: they are few.
        first, *others = [int(value) if factor.kind == "boolean" else str(value) for value in self.values]
        suits = values == first
        for other in others:
            suits = suits | (values == other)
        return np.where(factor.known(values), suits.astype(np.float64), np.nan)

    def corners(self, factor: Factor) -> tuple[float, ...]:
        """Return no corners: a category has none."""
        return ()


#: Any shape; ``kind`` says which.
Shape = Annotated[Trapezoid | Cyclic | ValueSet, Field(discriminator="kind")]


def _ramp(passed: AnyArray, width: float) -> FloatArray:
    """Return how far along a rise of ``width`` each value is, 0 to 1; with no width, whether it has begun."""
    if width <= 0.0:
        return np.where(np.isnan(passed), np.nan, (passed >= 0.0).astype(np.float64))
    return np.clip(passed / width, 0.0, 1.0)
