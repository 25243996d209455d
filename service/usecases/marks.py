"""Marks: documents that follow a station."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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
        raise _no_station(mark)
    return _settled(mark, station.station_id)


def settle_many(unit: UnitOfWork, marks: Sequence[Mark]) -> list[tuple[Mark, Mapping[str, str]] | DocumentInvalid]:
    """Do for many marks what is done for one that is made; a mark whose station is not there has its error."""
    names = {mark.station for mark in marks}
    known = {name: record.station_id for name, record in unit.stations.by_references(sorted(names)).items()}
    known |= {found: found for found in unit.stations.many(sorted(name for name in names if is_id(name)))}
    return [_no_station(mark) if mark.station not in known else _settled(mark, known[mark.station]) for mark in marks]


def _settled(mark: Mark, station_id: str) -> tuple[Mark, Mapping[str, str]]:
    return mark.model_copy(update={"station": station_id}), {"station_id": station_id}


def _no_station(mark: Mark) -> DocumentInvalid:
    expected = "the id or the external_ref of a station, as GET /v1/stations lists them"
    return DocumentInvalid(Fault("station", f"there is no station {mark.station!r}", expected))


MARKS = Documents("mark", "mark", Mark, lambda unit: unit.marks, _settle)
