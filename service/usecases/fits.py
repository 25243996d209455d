"""Fits: a gauge record comes in, a worker fits it, and its model may be adopted by the station."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.errors import DocumentInvalid, FitNotDone, NotFound, TooManyFits
from service.jobs.worker import FitTask
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.records import DONE, FitRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.page import Page, one_page
from service.usecases.stations import add_version, find_station, own_station
from tidecore.errors import Fault
from tidecore.model import TideModel


@dataclass(frozen=True, slots=True)
class Upload:
    """A gauge record as it came: a file that the use case takes over."""

    path: Path
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class FitRequest:
    """How to read a record (``file_format``, ``hints``) and how to fit it (``options``)."""

    file_format: str | None
    latitude: float | None
    hints: Mapping[str, Any]
    options: Mapping[str, Any]


def request_fit(context: Context, caller: Caller, station_id: str, upload: Upload, request: FitRequest) -> FitRecord:
    """Take a record for a station and queue its fit.

    Raises
    ------
    NotFound
        If there is no such station.
    DocumentInvalid
        If the record is empty.
    TooManyFits
        If the account has as many fits waiting as it may.
    """
    if upload.size == 0:
        raise DocumentInvalid(Fault("body", "is empty", "the bytes of a gauge record"))
    settings = context.settings
    with context.store.unit(caller.account_id, writes=True) as unit:
        station = own_station(unit, station_id)
        if unit.fits.active_count() >= settings.max_waiting_fits:
            raise TooManyFits(settings.max_waiting_fits)
        latitude = station.latitude if request.latitude is None else request.latitude
        options = {
            "format": request.file_format,
            "latitude": latitude,
            "hints": dict(request.hints),
            "fit": dict(request.options),
        }
        fit = unit.fits.add(
            station_id=station_id,
            runner_id=context.runner.runner_id,
            lease_until=context.runner.lease_until(),
            record_sha256=upload.sha256,
            record_bytes=upload.size,
            options=options,
            now=context.clock(),
        )
        path = _spool(context, fit.fit_id)
        try:
            shutil.move(upload.path, path)
            unit.commit()
        except BaseException:
            with contextlib.suppress(FileNotFoundError):
                path.unlink()
            raise
    context.runner.submit(
        FitTask(
            fit_id=fit.fit_id,
            account_id=caller.account_id,
            path=str(path),
            latitude=latitude,
            station=station.name,
            file_format=request.file_format,
            max_bytes=settings.max_upload_bytes,
            hints=dict(request.hints),
            options=dict(request.options),
        )
    )
    return fit


def get_fit(context: Context, caller: Caller, fit_id: str) -> FitRecord:
    """Return a fit; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return _find(unit, fit_id)


def list_fits(context: Context, caller: Caller, station_id: str, after: str | None, limit: int) -> Page[FitRecord]:
    """Return a page of the fits of a station."""
    with context.store.unit(caller.account_id) as unit:
        find_station(unit, station_id)
        return one_page(lambda most: unit.fits.page(station_id, after, most), limit, lambda fit: fit.fit_id)


def adopt_fit(context: Context, caller: Caller, fit_id: str) -> FitRecord:
    """Make the model of a fit the current version of its station; a fit adopted before stays as it is.

    Raises
    ------
    FitNotDone
        If the fit waits, runs or failed.
    """
    with context.store.unit(caller.account_id, writes=True) as unit:
        fit = _find(unit, fit_id)
        document = unit.fits.model(fit_id)
        if fit.state != DONE or document is None:
            raise FitNotDone(fit_id, fit.state)
        if fit.adopted_version is None:
            model = TideModel.from_document(document)
            record = add_version(context, unit, fit.station_id, model, source="fit", fit_id=fit_id)
            unit.fits.adopt(fit_id, record.version)
            fit = _find(unit, fit_id)
            unit.commit()
    return fit


def _find(unit: UnitOfWork, fit_id: str) -> FitRecord:
    fit = unit.fits.get(fit_id) if is_id(fit_id) else None
    if fit is None:
        raise NotFound("fit", fit_id)
    return fit


def _spool(context: Context, fit_id: str) -> Path:
    folder = context.settings.spool_folder
    folder.mkdir(parents=True, exist_ok=True)
    return folder / fit_id
