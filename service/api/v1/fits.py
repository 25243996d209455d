"""Routes of fits."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, FitId, StationId
from service.api.editing import ONCE, OnceOfDeed, OnceOfRecord, respond, written
from service.api.media import RECORD_TYPES, StrictRoute, answer, receive_record
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.v1.schemas.common import RETRY_AFTER, retry_after
from service.api.v1.schemas.fits import Fit, FitList, FitQuery, Quality, write_fit, write_fits, write_quality
from service.usecases import fits
from service.usecases.fits import Upload
from service.usecases.once import Answered
from service.usecases.records import FitRecord
from tidecore.gauges import formats

router = APIRouter(tags=["fits"], route_class=StrictRoute)

_BINARY = {"schema": {"type": "string", "format": "binary"}}
_RECORD: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": f"The gauge record as it is, in one of the formats {', '.join(formats())}; or a ZIP archive of "
        "several files, each a part of the record of one gauge, perhaps years apart.",
        "content": {media_type: _BINARY for media_type in RECORD_TYPES},
    }
}


@router.post(
    "/stations/{station_id}/fits",
    operation_id="create_fit",
    summary="Fit a gauge record",
    status_code=202,
    response_model=Fit,
    responses=declare(
        "not-found",
        "no-model",
        "invalid-input",
        "body-too-large",
        "media-not-supported",
        "too-many-jobs",
        "store-conflict",
        *ONCE,
    ),
    openapi_extra=_RECORD,
)
def create_fit(
    station_id: StationId,
    query: Annotated[FitQuery, Query()],
    record: Annotated[Upload, Depends(receive_record)],
    caller: CallerDep,
    context: ContextDep,
    once: OnceOfRecord,
) -> Response:
    """Send a gauge record to be fitted; the answer comes at once, and its Location says how the fit fares.

    The same record with the same hints, sent again while its fit waits or runs, is answered with that fit. The work
    is a job, `job_id`, by which it can be cancelled.
    """
    asked = query.to_request()
    make = fits.request_fit
    return respond(
        once.run(context, caller, lambda keep: make(context, caller, station_id, record, asked, keep), _taken)
    )


@router.get(
    "/stations/{station_id}/fits",
    operation_id="list_fits",
    summary="List the fits of a station",
    response_model=FitList,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_fits(
    station_id: StationId,
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """List the fits of a station, a page at a time."""
    after = read_cursor("fits", cursor)
    page = fits.list_fits(context, caller, station_id, after, check_limit(request, limit))
    return answer(write_fits(page, write_cursor("fits", page.after)))


@router.get(
    "/fits/{fit_id}",
    operation_id="get_fit",
    summary="Read a fit",
    response_model=Fit,
    responses={**declare("not-found"), 200: RETRY_AFTER},
)
def get_fit(fit_id: FitId, caller: CallerDep, context: ContextDep) -> Response:
    """Read the state of a fit, the report of its record, its diagnostics, or why it failed."""
    fit = fits.get_fit(context, caller, fit_id)
    return answer(write_fit(fit), 200, retry_after(fit.state))


@router.get(
    "/fits/{fit_id}/quality",
    operation_id="get_fit_quality",
    summary="Read the quality of a fit's record",
    response_model=Quality,
    responses=declare("not-found", "fit-not-checked"),
)
def get_fit_quality(fit_id: FitId, caller: CallerDep, context: ContextDep) -> Response:
    """Read what the check of the record found: spikes, a gauge that stands still, faults of datum, clock and zone.

    Values that failed did not enter the fit. Faults of datum, clock and zone are said and nothing is corrected: which
    side of them is right, the record does not tell.
    """
    return answer(write_quality(fit_id, fits.get_quality(context, caller, fit_id)))


@router.post(
    "/fits/{fit_id}/adopt",
    operation_id="adopt_fit",
    summary="Adopt the model of a fit",
    response_model=Fit,
    responses=declare("not-found", "fit-not-done", "model-unreadable", "store-conflict", *ONCE),
)
def adopt_fit(fit_id: FitId, caller: CallerDep, context: ContextDep, once: OnceOfDeed) -> Response:
    """Make the model of a fit the station's current version; old versions stay readable. Once more changes nothing."""
    return respond(once.run(context, caller, lambda keep: fits.adopt_fit(context, caller, fit_id, keep), _adopted))


def _taken(fit: FitRecord) -> Answered:
    return written(write_fit(fit), 202, {"Location": f"/v1/fits/{fit.fit_id}"})


def _adopted(fit: FitRecord) -> Answered:
    return written(write_fit(fit), 200)
