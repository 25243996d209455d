"""Fits: a gauge record comes in, a worker fits it, and its model may be adopted by the station."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.errors import DocumentInvalid, FitNotChecked, FitNotDone, NotFound, StoreConflict
from service.security import Caller
from service.storage.identifiers import is_id, new_id
from service.storage.records import DONE, FitRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.jobs import active_job, queue_job
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page, one_page
from service.usecases.stations import add_version, find_station, own_station, serve_models
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
    """How to read a record (``file_format``, ``hints``) and how to fit it (``options``).

    ``neighbour`` is the id of a station from which lines are inferred that the record cannot separate.
    """

    file_format: str | None
    latitude: float | None
    hints: Mapping[str, Any]
    options: Mapping[str, Any]
    neighbour: str | None = None


#: Name of the kind of job that fits a record.
FIT = "fit"


def request_fit(
    context: Context,
    caller: Caller,
    station_id: str,
    upload: Upload,
    request: FitRequest,
    keep: Keep[FitRecord] = keep_nothing,
) -> FitRecord:
    """Take a record for a station and queue its fit; the same once more while that is active is the same fit.

    Raises
    ------
    NotFound
        If there is no such station, or no such neighbour.
    NoModel
        If the neighbour has no model.
    DocumentInvalid
        If the record is empty.
    TooManyJobs
        If the account has as many jobs waiting as it may.
    """
    if upload.size == 0:
        raise DocumentInvalid(Fault("body", "is empty", "the bytes of a gauge record"))
    try:
        fit = _take(context, caller, station_id, upload, request, keep)
    except StoreConflict:
        # Another process has queued the same in the meantime: then it is found now.
        fit = _take(context, caller, station_id, upload, request, keep)
    context.runner.wake()
    return fit


def _take(
    context: Context, caller: Caller, station_id: str, upload: Upload, request: FitRequest, keep: Keep[FitRecord]
) -> FitRecord:
    with context.store.unit(caller.account_id, writes=True) as unit:
        station = own_station(unit, station_id)
        options = {
            "format": request.file_format,
            "latitude": station.latitude if request.latitude is None else request.latitude,
            "hints": dict(request.hints),
            "fit": dict(request.options),
        }
        given: dict[str, Any] = {}
        if request.neighbour is not None:
            served = serve_models(context, unit, [request.neighbour], None)[0]
            options["neighbour"] = {
                "station_id": served.station.station_id,
                "version": served.version,
                "input_hash": served.model.input_hash,
            }
            given["neighbour_model"] = served.model.to_document()
        content = {"station_id": station_id, "record_sha256": upload.sha256, **options}
        active = active_job(unit, FIT, content)
        if active is not None:
            same = unit.fits.by_job(active.job_id)
            assert same is not None, "a job of a fit and its fit are written together"
            keep(unit, same)
            unit.commit()
            return same
        fit_id = new_id("fit")
        job = queue_job(context, unit, FIT, content, {"fit_id": fit_id, "station": station.name, **options, **given})
        fit = unit.fits.add(
            fit_id,
            station_id=station_id,
            job_id=job.job_id,
            record_sha256=upload.sha256,
            record_bytes=upload.size,
            options=options,
            now=context.clock(),
        )
        keep(unit, fit)
        path = _spool(context, fit_id)
        try:
            shutil.move(upload.path, path)
            unit.commit()
        except BaseException:
            with contextlib.suppress(FileNotFoundError):
                path.unlink()
            raise
    return fit


def get_fit(context: Context, caller: Caller, fit_id: str) -> FitRecord:
    """Return a fit; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return _find(unit, fit_id)


def get_quality(context: Context, caller: Caller, fit_id: str) -> Mapping[str, Any]:
    """Return the report of the check of a fit's record.

    Raises
    ------
    FitNotChecked
        If the fit waits, runs or failed before the check, or was asked for without it.
    """
    fit = get_fit(context, caller, fit_id)
    report: Mapping[str, Any] | None = ((fit.report or {}).get("diagnostics") or {}).get("quality")
    if report is None:
        raise FitNotChecked(fit_id, fit.state)
    return report


def list_fits(context: Context, caller: Caller, station_id: str, after: str | None, limit: int) -> Page[FitRecord]:
    """Return a page of the fits of a station."""
    with context.store.unit(caller.account_id) as unit:
        find_station(unit, station_id)
        return one_page(lambda most: unit.fits.page(station_id, after, most), limit, lambda fit: fit.fit_id)


def adopt_fit(context: Context, caller: Caller, fit_id: str, keep: Keep[FitRecord] = keep_nothing) -> FitRecord:
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
        keep(unit, fit)
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
