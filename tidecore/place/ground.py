"""The ground of a mark: beds, the profile across the shore, where the angler stands, which way it lies open."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from tidecore.documents import Document, Flaw, Name, Number, fault, refuse, shown
from tidecore.units import BoolArray, FloatArray

Bed = Literal[
    "clean_sand",
    "sand_with_bars_and_gutters",
    "mud",
    "shingle",
    "shingle_to_sand",
    "broken_or_mixed",
    "rough_rock_and_kelp",
    "mussel",
    "eelgrass",
    "structure",
    "channel_edge",
]

#: Most points of a profile, and fewest of one.
MOST_POINTS, FEWEST_POINTS = 200, 2

#: A direction, clockwise from true north.
Degrees = Annotated[Number, Field(ge=0.0, lt=360.0)]
#: A level above or below a datum [m].
Level = Annotated[Number, Field(ge=-100.0, le=100.0)]


class Exposure(Document):
    """The directions waves come from that reach a mark: the sector clockwise from one direction to another."""

    from_degree: Degrees
    to_degree: Degrees

    @model_validator(mode="after")
    def _is_open(self) -> Self:
        if self.from_degree == self.to_degree:
            problem = f"goes from {self.from_degree:g} to {self.to_degree:g} degrees, which is no sector"
            raise fault(problem, "two directions that differ; all round is 0 to 359.9")
        return self

    def holds(self, directions_degree: FloatArray) -> BoolArray:
        """Return which directions [degrees, any turn] lie in the sector, its ends included; NaN does not."""
        turned = (directions_degree - self.from_degree) % 360.0
        return np.asarray(turned <= (self.to_degree - self.from_degree) % 360.0)


class GroundDatum(Document):
    """The zero of the levels of a mark's ground, and how far it lies above the datum of the heights there [m].

    ``above_datum_m`` is left out where nobody knows: heights of the tide and levels of the ground cannot be compared
    then. ``source`` says who measured it, and how.
    """

    name: Name
    above_datum_m: Level | None = None
    uncertainty_m: Annotated[Number, Field(ge=0.0, le=20.0)] | None = None
    source: Name

    @model_validator(mode="after")
    def _of_something(self) -> Self:
        if self.uncertainty_m is not None and self.above_datum_m is None:
            problem = f"is {self.uncertainty_m:g}, of a level that is not known"
            refuse(self, [Flaw(("uncertainty_m",), problem, "above_datum_m with it, or null")])
        return self


def _a_number(given: object) -> object:
    """Refuse text and truth values, which pydantic would take for whole numbers; 1.0 is one in JSON."""
    if isinstance(given, str | bytes | bool):
        raise fault(f"is {shown(given)}", "a whole number from 0 to 3")
    return given


Snag = Annotated[int, Field(ge=0, le=3), BeforeValidator(_a_number)]


class ProfilePoint(Document):
    """A point of the ground: how far seaward of a fixed point [m], and how high above the ground datum [m].

    ``bed`` and ``snag`` (0 none, 3 tackle is lost at once) hold from here to the next point. Two points at one distance
    are an upright face.
    """

    distance_m: Annotated[Number, Field(ge=-1000.0, le=10_000.0)]
    level_m: Level
    bed: Bed | None = None
    snag: Snag | None = None


class Peg(Document):
    """Where the angler stands on the profile [m seaward of its fixed point]."""

    distance_m: Annotated[Number, Field(ge=-1000.0, le=10_000.0)]


def _seaward(points: tuple[ProfilePoint, ...]) -> tuple[ProfilePoint, ...]:
    """Refuse a profile of one point, and one that does not go on seaward."""
    if len(points) == 1:
        raise fault("has one point", f"{FEWEST_POINTS} to {MOST_POINTS} points, or none")
    refuse(points, list(_backward(points)))
    return points


def _backward(points: tuple[ProfilePoint, ...]) -> Iterator[Flaw]:
    for place, (before, point) in enumerate(pairwise(points), 1):
        if point.distance_m < before.distance_m:
            problem = f"is {point.distance_m:g} after {before.distance_m:g}: the profile runs backwards"
            yield Flaw((place, "distance_m"), problem, "points that go on seaward")
        elif point.distance_m == before.distance_m and (
            point.level_m == before.level_m or (place > 1 and points[place - 2].distance_m == point.distance_m)
        ):
            expected = "each distance once, or twice with two levels for an upright face"
            yield Flaw((place, "distance_m"), f"is {point.distance_m:g} again", expected)


#: The ground across the shore, seaward from a fixed point; empty where nobody surveyed it.
Profile = Annotated[tuple[ProfilePoint, ...], Field(max_length=MOST_POINTS), AfterValidator(_seaward)]
