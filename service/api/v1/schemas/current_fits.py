"""Records of the current in requests."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.instants import Instant
from service.usecases.current_fits import CurrentRecord
from tidecore.place import Document, Number

EXAMPLE: dict[str, Any] = {
    "start": "2026-06-01T00:00:00Z",
    "step_s": 600,
    "east_m_per_s": [0.41, 0.44, None, 0.46],
    "north_m_per_s": [0.12, 0.13, None, 0.14],
}

Component = Annotated[list[Number | None], Field(min_length=1, max_length=200_000)]


class CurrentFitCreate(Document):
    """A record of the current on an even grid: instant k is start + k x step_s, null where a value is missing."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    start: Instant
    step_s: Annotated[int, Field(ge=1, le=3600)]
    east_m_per_s: Annotated[Component, Field(description="Towards east.")]
    north_m_per_s: Annotated[Component | None, Field(description="Towards north; needed as much as the other.")] = None
    flood_towards_deg: Annotated[
        Number | None,
        Field(ge=0.0, lt=360.0, description="Roughly where the flood runs to; told by the tide unless given."),
    ] = None

    def to_record(self) -> CurrentRecord:
        """Return the record."""
        return CurrentRecord(self.start, self.step_s, self.east_m_per_s, self.north_m_per_s, self.flood_towards_deg)
