"""A mark: a fishing spot, with all that is known of it."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from tidecore.documents import Document, Name, Note, Number
from tidecore.place.ground import Bed
from tidecore.place.offsets import MarkLags, MarkOffsets, StreamRates
from tidecore.place.positions import Position, ZoneName

MarkKind = Literal["open_beach", "estuary", "rock_ledge", "pier_or_wall", "harbour"]


class Mark(Document):
    """A fishing spot: where it is, which station's tide it follows, and what is known of its stream and ground.

    ``slack_lags`` of a mark where nobody knows when the stream turns are left out: its flow is then a proxy and
    ``flow_reliable`` is false. ``station`` is a reference that whoever keeps the stations understands. ``offsets`` of a
    mark that has the tide of its station are left out.
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
