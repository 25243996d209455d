"""An official warning, as the Common Alerting Protocol 1.2 states it, and when and where it holds."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from tidecore.conditions.moments import Moment, ticks, written
from tidecore.documents import Document, Name, Note, Number, fault

Severity = Literal["unknown", "minor", "moderate", "severe", "extreme"]
#: Severities of the protocol that can be told apart, in rising order.
SEVERITIES: tuple[Severity, ...] = ("minor", "moderate", "severe", "extreme")
#: How long a warning holds that states no end [h]; the protocol leaves it to who receives it.
ASSUMED_H = 24.0
#: Mean radius of the earth [km].
_EARTH_KM = 6371.0088

_Latitude = Annotated[Number, Field(ge=-90.0, le=90.0)]
_Longitude = Annotated[Number, Field(ge=-180.0, le=180.0)]


class WarningCircle(Document):
    """All points within a distance of another."""

    latitude: _Latitude
    longitude: _Longitude
    radius_km: Annotated[Number, Field(ge=0.0, le=20_100.0)]

    def holds(self, latitude: float, longitude: float) -> bool:
        """Return whether a point lies in the circle, on a sphere."""
        here, there = math.radians(self.latitude), math.radians(latitude)
        half = math.radians(longitude - self.longitude) / 2.0
        chord = math.sin((there - here) / 2.0) ** 2 + math.cos(here) * math.cos(there) * math.sin(half) ** 2
        return 2.0 * _EARTH_KM * math.asin(math.sqrt(min(chord, 1.0))) <= self.radius_km


def _closed(ring: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    if len(ring) < 4 or ring[0] != ring[-1]:
        raise fault("is no closed ring", "at least four pairs of latitude and longitude, the last equal to the first")
    return ring


_Ring = Annotated[tuple[tuple[_Latitude, _Longitude], ...], Field(max_length=20_000), AfterValidator(_closed)]


class WarningArea(Document):
    """One area of a warning; polygons are closed rings of [latitude, longitude]."""

    description: Note
    polygons: Annotated[tuple[_Ring, ...], Field(max_length=1000)] = ()
    circles: Annotated[tuple[WarningCircle, ...], Field(max_length=1000)] = ()

    @property
    def is_drawn(self) -> bool:
        """Whether the area has a shape; else it is known by its description alone."""
        return bool(self.polygons or self.circles)

    def holds(self, latitude: float, longitude: float) -> bool:
        """Return whether a point lies in one of the area's polygons or circles."""
        if any(circle.holds(latitude, longitude) for circle in self.circles):
            return True
        return any(_inside(ring, latitude, longitude) for ring in self.polygons)


def _inside(ring: tuple[tuple[float, float], ...], latitude: float, longitude: float) -> bool:
    """Return whether a point lies in a ring: an odd number of its sides is crossed on the way out."""
    odd = False
    # Longitudes as seen from the point, followed along the ring: sides are the shorter way round the globe.
    east = (ring[0][1] - longitude + 180.0) % 360.0 - 180.0
    for (lat, lon), (next_lat, next_lon) in pairwise(ring):
        next_east = east + (next_lon - lon + 180.0) % 360.0 - 180.0
        if (lat > latitude) != (next_lat > latitude):
            odd ^= east + (latitude - lat) / (next_lat - lat) * (next_east - east) > 0.0
        east = next_east
    return odd


class WarningReference(Document):
    """An earlier message that a message takes the place of."""

    sender: Name
    identifier: Name
    sent: Moment


class OfficialWarning(Document):
    """One ``info`` block of one message of the Common Alerting Protocol 1.2.

    A message with several blocks makes several, told apart by ``block``; one without any (a cancel may have none)
    makes one of unknown severity. ``in_force_from`` and ``in_force_until`` say when it holds.
    """

    identifier: Name
    sender: Name
    sent: Moment
    status: Literal["actual"] = "actual"
    msg_type: Literal["alert", "update", "cancel"]
    references: Annotated[tuple[WarningReference, ...], Field(max_length=1000)] = ()
    block: Annotated[int, Field(ge=0, le=1000)] = 0
    language: Name = "en-US"
    event: Note = ""
    headline: Note = ""
    description: Annotated[str, Field(max_length=100_000)] = ""
    instruction: Annotated[str, Field(max_length=100_000)] = ""
    severity: Severity = "unknown"
    urgency: Literal["unknown", "past", "future", "expected", "immediate"] = "unknown"
    certainty: Literal["unknown", "unlikely", "possible", "likely", "observed"] = "unknown"
    effective: Moment | None = None
    onset: Moment | None = None
    expires: Moment | None = None
    areas: Annotated[tuple[WarningArea, ...], Field(max_length=1000)] = ()

    @model_validator(mode="after")
    def _runs_forward(self) -> Self:
        if self.msg_type != "alert" and not self.references:
            raise fault(f"references are missing from a message of type {self.msg_type}", "the messages it replaces")
        if self.expires is not None and self.expires < self.told_from:
            problem = f"expires {written(self.expires)}, before it begins {written(self.told_from)}"
            raise fault(problem, "an end after the beginning")
        return self

    @property
    def told_from(self) -> datetime:
        """From when the message counts: when it is effective, else when it was sent."""
        return self.effective or self.sent

    @property
    def in_force_from(self) -> datetime:
        """When what it warns of is expected to begin, else from when the message counts."""
        return self.onset or self.told_from

    @property
    def in_force_until(self) -> datetime:
        """When it expires; 24 h after its beginning where the message states no end.

        Nor does one that expires before what it warns of begins: it is the message that ends then.
        """
        if self.expires is not None and self.expires > self.in_force_from:
            return self.expires
        return max(self.in_force_from, self.told_from) + timedelta(hours=ASSUMED_H)

    @property
    def in_force_us(self) -> tuple[int, int]:
        """First and last instant in force [microseconds since 1970]."""
        return ticks(self.in_force_from), ticks(self.in_force_until)

    def covers(self, latitude: float, longitude: float) -> bool | None:
        """Return whether a point lies in the areas of the warning; None where none of them has a shape."""
        drawn = [area for area in self.areas if area.is_drawn]
        if any(area.holds(latitude, longitude) for area in drawn):
            return True
        return False if drawn and len(drawn) == len(self.areas) else None
