"""Marks: documents that follow a station."""

from __future__ import annotations

from collections.abc import Mapping

from service.errors import DocumentInvalid
from service.storage.unit import UnitOfWork
from service.usecases.documents import Documents, DocumentView
from tidecore.errors import Fault
from tidecore.place import Mark

MarkView = DocumentView[Mark]


def _settle(unit: UnitOfWork, mark: Mark) -> tuple[Mark, Mapping[str, str]]:
    """Return a mark with the id of its station, which may be named by the account's reference for it."""
    station = unit.stations.get(mark.station) or unit.stations.by_reference(mark.station)
    if station is None:
        expected = "the id or the external_ref of a station, as GET /v1/stations lists them"
        raise DocumentInvalid(Fault("station", f"there is no station {mark.station!r}", expected))
    return mark.model_copy(update={"station": station.station_id}), {"station_id": station.station_id}


MARKS = Documents("mark", "mark", Mark, lambda unit: unit.marks, _settle)
