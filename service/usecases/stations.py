"""Stations: made from constituents or without a tide yet, read with the versions of their models, edited, deleted."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from service.errors import (
    DocumentInvalid,
    InUse,
    NoModel,
    NotFound,
    NotOwned,
    PreconditionMissing,
    ReferenceTaken,
    ScopeNeeded,
    Stale,
)
from service.security import ADMIN, Caller
from service.storage.identifiers import is_id
from service.storage.plain import plain
from service.storage.records import CREATED, DELETED, UPDATED, Change, ModelRecord, StationRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page, one_page
from service.usecases.stale_joins import model_written
from tidecore.datums import StatedLevel
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
    datum_levels: tuple[StatedLevel, ...] = ()


@dataclass(frozen=True, slots=True)
class NewStation:
    """What a caller says of a station."""

    name: str
    latitude: float
    longitude: float | None
    time_zone: str
    external_ref: str | None
    model: NewModel | None
    public: bool = False


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


#: Whether a station is as its editor last saw it.
ExpectedStation = Callable[[StationRecord], bool]


def create_station(
    context: Context, caller: Caller, new: NewStation, keep: Keep[StationView] = keep_nothing
) -> StationView:
    """Make a station; with constituents it has a model from the start.

    Raises
    ------
    InvalidInput, UnknownName
        If the position or the constituents make no tide.
    ReferenceTaken
        If another station has the external reference.
    """
    # Before the work of making a model, and once more when nobody else can write.
    with context.store.unit(caller.account_id) as unit:
        _check_reference(unit, new.external_ref, None)
    model = check_station(caller, new, None)
    with context.store.unit(caller.account_id, writes=True) as unit:
        _check_reference(unit, new.external_ref, None)
        view = _add(context, unit, new, model)
        keep(unit, view)
        unit.commit()
    return view


def edit_station(
    context: Context,
    caller: Caller,
    station_id: str,
    expected: ExpectedStation,
    change: Callable[[StationRecord], NewStation],
) -> StationView:
    """Make a station what ``change`` returns of it; constituents become the next version of its tide.

    Without constituents the tide stays as it is.

    Raises
    ------
    NotFound, NotOwned, ReferenceTaken
        If there is no such station, it is another account's, or another one has the external reference.
    Stale
        If the station is not as ``expected``, or no longer so when it is written.
    """
    with context.store.unit(caller.account_id) as unit:
        record = _expected(unit, station_id, expected)
    new = change(record)
    model = check_station(caller, new, record)
    with context.store.unit(caller.account_id, writes=True) as unit:
        record = _expected(unit, station_id, expected)
        view = _replace(context, unit, record, new, model)
        unit.commit()
    return view


def put_station(
    context: Context, caller: Caller, new: NewStation, external_ref: str, expected: ExpectedStation | None
) -> tuple[StationView, bool]:
    """Make the station that the account calls ``external_ref``, or replace it; True where it was not there.

    Raises as `edit_station`, and PreconditionMissing where there is one and nothing is ``expected`` of it.
    """
    new = replace(new, external_ref=external_ref)
    with context.store.unit(caller.account_id) as unit:
        record = unit.stations.by_reference(external_ref)
    model = check_station(caller, new, record)
    with context.store.unit(caller.account_id, writes=True) as unit:
        record = unit.stations.by_reference(external_ref)
        if record is None:
            view, made = _add(context, unit, new, model), True
        elif expected is None:
            raise PreconditionMissing
        else:
            record = _expected(unit, record.station_id, expected)
            view, made = _replace(context, unit, record, new, model), False
        unit.commit()
    return view, made


def remove_station(context: Context, caller: Caller, station_id: str, expected: ExpectedStation) -> None:
    """Delete a station with its models and fits; InUse while marks follow it; raises as `edit_station` otherwise."""
    with context.store.unit(caller.account_id, writes=True) as unit:
        record = _expected(unit, station_id, expected)
        users = unit.marks.linked("station_id", station_id, InUse.MOST_NAMED + 1)
        if users or unit.fits.active_of(station_id):
            raise InUse("station", station_id, [*users, *unit.fits.active_of(station_id)])
        unit.fits.remove_of(station_id)
        if not unit.stations.remove(record):
            raise Stale("station", station_id)
        unit.note(Change("station", station_id, DELETED, None, context.clock()))
        unit.commit()


def check_station(caller: Caller, new: NewStation, old: StationRecord | None) -> TideModel | None:
    """Return the model of what is said of a station, None without constituents; refused where it makes no station.

    To make one public, or private again, takes the scope admin: other accounts rest on it.
    """
    if new.public != (old is not None and old.public) and not caller.may(ADMIN):
        raise ScopeNeeded(ADMIN, sorted(caller.scopes))
    check_zone(new.time_zone)
    Position(new.latitude, 0.0 if new.longitude is None else new.longitude)
    return None if new.model is None else _model_of(new, new.model)


def _expected(unit: UnitOfWork, station_id: str, expected: ExpectedStation) -> StationRecord:
    record = own_station(unit, station_id)
    if not expected(record):
        raise Stale("station", station_id)
    return record


def _add(context: Context, unit: UnitOfWork, new: NewStation, model: TideModel | None) -> StationView:
    now = context.clock()
    station = unit.stations.add(
        name=new.name,
        latitude=new.latitude,
        longitude=new.longitude,
        time_zone=new.time_zone,
        external_ref=new.external_ref,
        public=new.public,
        now=now,
    )
    unit.note(Change("station", station.station_id, CREATED, None, now))
    if model is not None:
        add_version(context, unit, station.station_id, model, source="constituents", fit_id=None)
    return _view(unit, station.station_id, None)


def _replace(
    context: Context, unit: UnitOfWork, record: StationRecord, new: NewStation, model: TideModel | None
) -> StationView:
    said = {
        "name": new.name,
        "latitude": new.latitude,
        "longitude": new.longitude,
        "time_zone": new.time_zone,
        "external_ref": new.external_ref,
        "public": new.public,
    }
    _check_reference(unit, new.external_ref, record.station_id)
    if any(getattr(record, name) != value for name, value in said.items()):
        # An edit always comes after what it edits, whatever the clock says: ETags rest on it.
        now = max(context.clock(), record.updated_at + timedelta(microseconds=1))
        if not unit.stations.change(record, now, **said):
            raise Stale("station", record.station_id)
        unit.note(Change("station", record.station_id, UPDATED, record.version or None, now))
    if model is not None and not _same_tide(unit, record, model):
        add_version(context, unit, record.station_id, model, source="constituents", fit_id=None)
    return _view(unit, record.station_id, None)


def _same_tide(unit: UnitOfWork, record: StationRecord, model: TideModel) -> bool:
    current = unit.stations.model(record.station_id, record.version)
    return current is not None and current.input_hash == model.input_hash and current.datum == model.datum


def add_version(
    context: Context, unit: UnitOfWork, station_id: str, model: TideModel, *, source: str, fit_id: str | None
) -> ModelRecord:
    """Make a model the next and current version of a station, inside a unit of work that is to commit."""
    return write_version(unit, station_id, model, source=source, fit_id=fit_id, now=context.clock())


def write_version(
    unit: UnitOfWork, station_id: str, model: TideModel, *, source: str, fit_id: str | None, now: datetime
) -> ModelRecord:
    """Do what `add_version` does, at an instant that is given."""
    stamps = {
        "datum": model.datum,
        "input_hash": model.input_hash,
        "numerics": model.numerics,
        "code_version": model.code_version,
    }
    document: Mapping[str, Any] = plain(model.to_document())
    record = unit.stations.add_model(station_id, document, source=source, fit_id=fit_id, stamps=stamps, now=now)
    unit.note(Change("station", station_id, UPDATED, record.version, now))
    model_written(unit, station_id, now)
    return record


def list_stations(
    context: Context, caller: Caller, after: str | None, limit: int, external_ref: str | None = None
) -> Page[StationRecord]:
    """Return a page of stations, or the one to which the account gave an external reference."""
    with context.store.unit(caller.account_id) as unit:
        if external_ref is not None:
            found = unit.stations.by_reference(external_ref)
            return Page([] if found is None else [found], None)
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


def own_station(unit: UnitOfWork, station_id: str) -> StationRecord:
    """Return a station that the account may change; NotFound if there is none, NotOwned if it is another's."""
    station = find_station(unit, station_id)
    if not station.owned:
        raise NotOwned("station", station_id)
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


def _check_reference(unit: UnitOfWork, external_ref: str | None, own: str | None) -> None:
    holder = None if external_ref is None else unit.stations.by_reference(external_ref)
    if external_ref is not None and holder is not None and holder.station_id != own:
        raise ReferenceTaken("station", external_ref, holder.station_id)


def _model_of(new: NewStation, given: NewModel) -> TideModel:
    return TideModel.from_constituents(
        given.constituents,
        latitude=new.latitude,
        mean_level=given.mean_level_m,
        convention=given.convention,
        datum=given.datum,
        station=new.name,
        datum_levels=given.datum_levels,
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
