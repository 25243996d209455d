"""What sets the tide and the stream of a place apart from those of its station."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Annotated, ClassVar, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from tidecore.documents import Document, Name, Number, fault, shown

#: Largest slack lag [minutes].
LONGEST_LAG_MIN = 240.0
#: Largest difference of time between a place and its station [minutes].
LONGEST_DIFFERENCE_MIN = 720.0
#: Heights of springs and neaps nearer than this [m] make no line.
LEAST_STEP_M = 0.01

#: A fixed offset from UTC.
_FIXED_ZONE = re.compile(r"[+-](?:(?:0\d|1[0-3]):[0-5]\d|14:00)")


class MarkLags(Document):
    """Minutes after the mark's own primary high and low water at which the stream turns."""

    after_hw_min: Annotated[Number, Field(ge=-LONGEST_LAG_MIN, le=LONGEST_LAG_MIN)]
    after_lw_min: Annotated[Number, Field(ge=-LONGEST_LAG_MIN, le=LONGEST_LAG_MIN)]


class ClockDifference(Document):
    """How much later than at the station [minutes] a water comes that is there at an hour of the standard zone."""

    clock_h: Annotated[Number, Field(ge=0.0, lt=24.0)]
    later_min: Annotated[Number, Field(ge=-LONGEST_DIFFERENCE_MIN, le=LONGEST_DIFFERENCE_MIN)]


class HeightDifference(Document):
    """How much higher than at the station [m] a water comes that has a height there."""

    station_height_m: Annotated[Number, Field(ge=-100.0, le=100.0)]
    higher_m: Annotated[Number, Field(ge=-100.0, le=100.0)]


class HeightDifferences(Document):
    """Differences at springs and at neaps; between them they are linear in the station's height."""

    kind: Literal["differences"]
    springs: HeightDifference
    neaps: HeightDifference

    @model_validator(mode="after")
    def _are_apart(self) -> Self:
        springs, neaps = self.springs.station_height_m, self.neaps.station_height_m
        if abs(springs - neaps) < LEAST_STEP_M:
            expected = f"heights of the station at springs and neaps at least {LEAST_STEP_M:g} m apart, or a ratio"
            raise fault(f"has springs at {springs:g} m and neaps at {neaps:g} m", expected)
        return self


class HeightRatio(Document):
    """One ratio: height at the place over height at the station, both above their datums."""

    kind: Literal["ratio"]
    ratio: Annotated[Number, Field(gt=0.0, le=20.0)]


def _ascending_hours(times: tuple[ClockDifference, ...]) -> tuple[ClockDifference, ...]:
    hours = [one.clock_h for one in times]
    if any(later <= earlier for earlier, later in pairwise(hours)):
        raise fault(f"has the hours {', '.join(f'{hour:g}' for hour in hours)}", "every hour once, in ascending order")
    return times


class WaterOffsets(Document):
    """What sets the high (low) waters of a place apart from those of its station; heights alike where none is said."""

    times: Annotated[tuple[ClockDifference, ...], Field(min_length=1, max_length=24), AfterValidator(_ascending_hours)]
    heights: Annotated[HeightDifferences | HeightRatio, Field(discriminator="kind")] | None = None


def _fixed_zone(text: str) -> str:
    if not _FIXED_ZONE.fullmatch(text):
        expected = "the standard zone of the station's tables as an offset from UTC, as '+01:00'; never summer time"
        raise fault(f"is {shown(text)}", expected)
    return text


class MarkOffsets(Document):
    """The tide of a place by that of its station, as tables of secondary ports state it.

    Differences of time go by the hour that a clock in ``standard_zone`` shows at the station's own high (low) water,
    linear between the hours of the table and on from the last to the first. ``datum`` is what heights at the place are
    above; that of the station unless given.
    """

    kinded: ClassVar[frozenset[str]] = frozenset({"heights"})

    standard_zone: Annotated[str, AfterValidator(_fixed_zone)]
    high_water: WaterOffsets
    low_water: WaterOffsets
    datum: Name | None = None

    @property
    def zone_min(self) -> int:
        """Offset of the standard zone from UTC [minutes], east positive."""
        sign = -1 if self.standard_zone[0] == "-" else 1
        return sign * (60 * int(self.standard_zone[1:3]) + int(self.standard_zone[4:6]))


class StreamRates(Document):
    """Peak speeds of the stream at mean springs and mean neaps [m/s], and by what those between are scaled.

    ``range``: linear in the range of the tide, as tide tables do. ``root_of_range``: linear in its square root, as the
    speed in a hydraulic strait goes by the root of the head.
    """

    spring_flood_m_per_s: Annotated[Number, Field(gt=0.0, le=12.0)]
    spring_ebb_m_per_s: Annotated[Number, Field(gt=0.0, le=12.0)]
    neap_flood_m_per_s: Annotated[Number, Field(ge=0.0, le=12.0)]
    neap_ebb_m_per_s: Annotated[Number, Field(ge=0.0, le=12.0)]
    scaled_by: Literal["range", "root_of_range"] = "range"
