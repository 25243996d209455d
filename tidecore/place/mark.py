"""A mark: a fishing spot, with all that is known of it."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from tidecore.documents import Document, Flaw, Name, Note, Number, fault, refuse, shown
from tidecore.place.access import AccessCalendar, WayBack
from tidecore.place.ground import Bed, Degrees, Exposure, GroundDatum, Peg, Profile
from tidecore.place.offsets import MarkLags, MarkOffsets, StreamRates
from tidecore.place.positions import Position, ZoneName
from tidecore.place.species import Declared

MarkKind = Literal["open_beach", "estuary", "rock_ledge", "pier_or_wall", "harbour"]


def _each_once(names: tuple[str, ...]) -> tuple[str, ...]:
    again = [(place, name) for place, name in enumerate(names) if name in names[:place]]
    refuse(names, [Flaw((place,), f"is {shown(name)} again", "each once") for place, name in again])
    return names


class Mark(Document):
    """A fishing spot: where it is, which station's tide it follows, and what is known of its stream and ground.

    ``slack_lags`` of a mark where nobody knows when the stream turns are left out: its flow is then a proxy and
    ``flow_reliable`` is false. ``station`` is a reference that whoever keeps the stations understands. ``offsets`` of a
    mark that has the tide of its station are left out.

    Nothing of the ground, the exposure, access or the way back need be known; what hangs on it is unknown then. Levels
    of the ground (``profile``, ``ledge_height_m``, ``way_back``) are above ``ground_datum``. ``facing_degree`` is the
    direction in which the mark looks out to sea. ``conditions_area`` names the area whose forecasts it takes where it
    has none of its own. ``regulation_areas`` are those whose regulations hold here, by the names that these have; of a
    mark that names none it is not known which hold.
    """

    kinded: ClassVar[frozenset[str]] = MarkOffsets.kinded

    name: Name
    latitude: Annotated[Number, Field(ge=-90.0, le=90.0)]
    longitude: Annotated[Number, Field(ge=-180.0, le=180.0)]
    time_zone: ZoneName
    station: Name
    kind: MarkKind
    beds: Annotated[tuple[Bed, ...], Field(max_length=11)] = ()
    offsets: MarkOffsets | None = None
    slack_lags: MarkLags | None = None
    stream_rates: StreamRates | None = None
    notes: Note = ""
    facing_degree: Degrees | None = None
    exposure: Exposure | None = None
    conditions_area: Name | None = None
    ground_datum: GroundDatum | None = None
    profile: Profile = ()
    beach_slope: Annotated[Number, Field(ge=0.001, le=1.0)] | None = None
    peg: Peg | None = None
    ledge_height_m: Annotated[Number, Field(ge=-20.0, le=200.0)] | None = None
    cliff: Annotated[tuple[Literal["foot", "top"], ...], Field(max_length=2), AfterValidator(_each_once)] = ()
    species: Declared = ()
    access: AccessCalendar = ()
    regulation_areas: Annotated[tuple[Name, ...], Field(max_length=20), AfterValidator(_each_once)] = ()
    facilities: Annotated[tuple[Name, ...], Field(max_length=30), AfterValidator(_each_once)] = ()
    phone_signal: Literal["none", "patchy", "good"] | None = None
    way_back: WayBack = ()

    # What contradicts another field is found where both are fit by themselves, whatever else is wrong.
    @field_validator("beach_slope")
    @classmethod
    def _no_profile_beside(cls, slope: float | None, info: ValidationInfo) -> float | None:
        if slope is not None and info.data.get("profile"):
            raise fault(f"is {slope:g} beside a profile", "one of the two: the slope is that of a plane beach")
        return slope

    @field_validator("peg")
    @classmethod
    def _on_the_profile(cls, peg: Peg | None, info: ValidationInfo) -> Peg | None:
        points = info.data.get("profile")
        if peg is None or points is None:
            return peg
        if not points:
            raise fault("stands on a profile that is not given", "a profile, or no peg")
        first, last = points[0].distance_m, points[-1].distance_m
        if not first <= peg.distance_m <= last:
            problem = f"is {peg.distance_m:g}, off the profile"
            refuse(peg, [Flaw(("distance_m",), problem, f"{first:g} to {last:g} m, as the profile goes")])
        return peg

    @field_validator("ledge_height_m")
    @classmethod
    def _above_its_ground(cls, height: float | None, info: ValidationInfo) -> float | None:
        """Refuse a deck below the zero of its ground; a ledge of rock may lie there."""
        if height is not None and height < 0.0 and info.data.get("kind") in ("pier_or_wall", "harbour"):
            raise fault(f"is {height:g} at a pier, wall or harbour", "a height of 0 m or more above the ground datum")
        return height

    @property
    def position(self) -> Position:
        """The mark's position."""
        return Position(self.latitude, self.longitude)

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """The mark's time zone."""
        return zoneinfo.ZoneInfo(self.time_zone)

    def datum_of(self, station_datum: str) -> str:
        """Return what heights at the mark are above: the datum that its offsets state, or else the station's."""
        return station_datum if self.offsets is None else self.offsets.datum or station_datum

    @property
    def flow_reliable(self) -> bool:
        """Whether it is known when the stream turns here."""
        return self.slack_lags is not None

    @property
    def all_beds(self) -> tuple[Bed, ...]:
        """The beds stated for the mark and those along its profile, each once."""
        along = (point.bed for point in self.profile if point.bed is not None)
        return tuple(dict.fromkeys((*self.beds, *along)))
