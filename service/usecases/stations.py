"""Stations: made from constituents or without a tide yet, and read with the versions of their models."""

from __future__ import annotations

import zoneinfo
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.errors import DocumentInvalid, NoModel, NotFound, ReferenceTaken
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.plain import plain
from service.storage.records import ModelRecord, StationRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.page import Page, one_page
from tidecore.errors import Fault
from tidecore.model import TideModel
from tidecore.place import Position


@dataclass(frozen=True, slots=True)
class NewModel:
    """Constituents as given: name -> (amplitude [m], Greenwich phase lag [degrees])."""

    constituents: Mapping[str, tuple[float, float]]
    convention: str
    datum: str
    mean_level_m: float


@dataclass(frozen=True, slots=True)
class NewStation:
    """What a caller says of a station."""

    name: str
    latitude: float
    longitude: float | None
    time_zone: str
    external_ref: str | None
    model: NewModel | None


@dataclass(frozen=True, slots=True)
class StationView:
    """A station, the model of the version asked for, and every version there is."""

    station: StationRecord
    model: ModelRecord | None
    versions: Sequence[ModelRecord]


@dataclass(frozen=True, slots=True)
class ServedModel:
    """A decoded tide model and the station and version it is."""

    station: StationRecord
    version: int
    model: TideModel


def create_station(context: Context, caller: Caller, new: NewStation) -> StationView:
    """Make a station; with constituents it has a model from the start.

    Raises
    ------
    InvalidInput, UnknownName
        If the position or the constituents make no tide.
    ReferenceTaken
        If another station has the external reference.
    """
    check_zone(new.time_zone)
    Position(new.latitude, 0.0 if new.longitude is None else new.longitude)
    # Before the work of making a model, and once more when nobody else can write.
    with context.store.unit(caller.account_id) as unit:
        _check_reference(unit, new.external_ref)
    model = None if new.model is None else _model_of(new, new.model)
    now = context.clock()
    with context.store.unit(caller.account_id, writes=True) as unit:
        _check_reference(unit, new.external_ref)
        station = unit.stations.add(
            name=new.name,
            latitude=new.latitude,
            longitude=new.longitude,
            time_zone=new.time_zone,
            external_ref=new.external_ref,
            now=now,
        )
        if model is not None:
            add_version(context, unit, station.station_id, model, source="constituents", fit_id=None)
        view = _view(unit, station.station_id, None)
        unit.commit()
    return view


def add_version(
    context: Context, unit: UnitOfWork, station_id: str, model: TideModel, *, source: str, fit_id: str | None
) -> ModelRecord:
    """Make a model the next and current version of a station, inside a unit of work that is to commit."""
    stamps = {
        "datum": model.datum,
        "input_hash": model.input_hash,
        "numerics": model.numerics,
        "code_version": model.code_version,
    }
    document: Mapping[str, Any] = plain(model.to_document())
    return unit.stations.add_model(
        station_id, document, source=source, fit_id=fit_id, stamps=stamps, now=context.clock()
    )


def list_stations(context: Context, caller: Caller, after: str | None, limit: int) -> Page[StationRecord]:
    """Return a page of stations."""
    with context.store.unit(caller.account_id) as unit:
        return one_page(lambda most: unit.stations.page(after, most), limit, lambda station: station.station_id)


def get_station(context: Context, caller: Caller, station_id: str, version: int | None) -> StationView:
    """Return a station with its current model, or with the one of a ``version``; NotFound if there is none."""
    with context.store.unit(caller.account_id) as unit:
        return _view(unit, station_id, version)


def serve_models(
    context: Context, unit: UnitOfWork, station_ids: Sequence[str], version: int | None
) -> list[ServedModel]:
    """Return the tide models of stations, in the order given, each version decoded once.

    Raises
    ------
    NotFound
        If there is no such station or version.
    NoModel
        If a station has no model yet.
    """
    found = unit.stations.many([station_id for station_id in station_ids if is_id(station_id)])
    for station_id in station_ids:
        if station_id not in found:
            raise NotFound("station", station_id)
    return [model_of(context, unit, found[station_id], version) for station_id in station_ids]


def model_of(context: Context, unit: UnitOfWork, station: StationRecord, version: int | None) -> ServedModel:
    """Return the tide model of a station already read; raises as `serve_models`."""
    if version is None and station.version == 0:
        raise NoModel(station.station_id)
    number = station.version if version is None else version
    model = context.decoded.find(TideModel, station.station_id, number)
    if model is None:
        document = unit.stations.document(station.station_id, number)
        if document is None:
            raise NotFound("version", str(number), f"a version of station {station.station_id!r}")
        model = context.decoded.keep(station.station_id, number, TideModel.from_document(document))
    return ServedModel(station, number, model)


def find_station(unit: UnitOfWork, station_id: str) -> StationRecord:
    """Return a station by id; NotFound if the account has none."""
    station = unit.stations.get(station_id) if is_id(station_id) else None
    if station is None:
        raise NotFound("station", station_id)
    return station


def check_zone(name: str, field: str = "time_zone") -> zoneinfo.ZoneInfo:
    """Return a time zone by its IANA name, or refuse it."""
    try:
        if not name.replace("/", "").replace("_", "").replace("-", "").replace("+", "").isalnum():
            raise ValueError(name)
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise DocumentInvalid(
            Fault(field, "is no known time zone", "a name of the IANA database, as 'Etc/UTC'")
        ) from error


def _check_reference(unit: UnitOfWork, external_ref: str | None) -> None:
    holder = None if external_ref is None else unit.stations.by_reference(external_ref)
    if external_ref is not None and holder is not None:
        raise ReferenceTaken("station", external_ref, holder.station_id)


def _model_of(new: NewStation, given: NewModel) -> TideModel:
    return TideModel.from_constituents(
        given.constituents,
        latitude=new.latitude,
        mean_level=given.mean_level_m,
        convention=given.convention,
        datum=given.datum,
        station=new.name,
    )


def _view(unit: UnitOfWork, station_id: str, version: int | None) -> StationView:
    station = find_station(unit, station_id)
    versions = unit.stations.models(station_id)
    number = station.version if version is None else version
    model = next((record for record in versions if record.version == number), None)
    if model is None and number != 0:
        raise NotFound("version", str(number), f"a version of station {station_id!r}")
    if model is None and version is not None:
        raise NotFound("version", str(version), f"a version of station {station_id!r}")
    return StationView(station, model, versions)
