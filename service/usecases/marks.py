"""Marks: documents that follow a station."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from service.errors import DocumentInvalid
from service.storage.identifiers import is_id
from service.storage.unit import UnitOfWork
from service.usecases.documents import Documents, DocumentView
from tidecore.errors import Fault
from tidecore.place import Mark

MarkView = DocumentView[Mark]


def _settle(unit: UnitOfWork, mark: Mark) -> tuple[Mark, Mapping[str, str]]:
    """Return a mark with the id of its station, which may be named by the account's reference for it."""
    station = unit.stations.get(mark.station) or unit.stations.by_reference(mark.station)
    if station is None:
        raise no_station(mark.station)
    return mark.model_copy(update={"station": station.station_id}), {"station_id": station.station_id}


def find_stations(unit: UnitOfWork, names: Collection[str]) -> dict[str, str]:
    """Return the ids of the stations that marks name, each by its id or reference; those that there are."""
    known = {name: record.station_id for name, record in unit.stations.by_references(sorted(names)).items()}
    return known | {name: name for name in unit.stations.many(sorted(name for name in names if is_id(name)))}


def no_station(name: str) -> DocumentInvalid:
    """Return the error that a mark names a station that is not there."""
    expected = "the id or the external_ref of a station, as GET /v1/stations lists them"
    return DocumentInvalid(Fault("station", f"there is no station {name!r}", expected))


MARKS = Documents("mark", "mark", Mark, lambda unit: unit.marks, _settle)
