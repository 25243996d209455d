"""Routes of exports of the catch log."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep
from service.api.instants import Instant
from service.api.media import StrictRoute
from service.api.negotiation import ARCHIVE, CSV, NDJSON, choose, offer, write_stream
from service.api.v1.schemas.exports import DIARY_SHEET, FORMS, TRIP_SHEET, RowForm, TripForm
from service.errors import DocumentInvalid
from service.exports.catch_log.archive import trip_archive
from service.exports.catch_log.grid import COARSEST_KM, DEFAULT_KM, FINEST_KM
from service.exports.catch_log.lines import diary_lines, trip_lines
from service.exports.catch_log.sheet import diary_sheet, trip_sheet
from service.usecases.exports import WantedRows, WantedTrips, export_diary_rows, export_trips
from tidecore.errors import Fault

router = APIRouter(prefix="/exports", tags=["exports"], route_class=StrictRoute)

_AtMark = Annotated[str | None, Query(min_length=1, max_length=64, description="Of this mark: its id.")]
_Names = Annotated[bool, Query(description="Whether marks are named, in CSV and in the archive.")]


def _media_type(request: Request, asked: str | None, *offered: str) -> str:
    """Return the form of an export: the one asked for by name, or else by the Accept header."""
    if asked is not None:
        return FORMS[asked]
    given = request.headers.getlist("accept")
    return choose(", ".join(given) if given else None, offered)


@router.get(
    "/trips",
    operation_id="export_trips",
    summary="Export trips",
    response_class=Response,
    responses=offer(TRIP_SHEET, NDJSON, ARCHIVE, etag=False) | declare("not-found", "invalid-input", "not-acceptable"),
)
def export_trip_files(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    start: Annotated[Instant | None, Query(description="Trips that began then or later.")] = None,
    end: Annotated[Instant | None, Query(description="Trips that began before this.")] = None,
    mark_id: _AtMark = None,
    names: _Names = False,
    grid_km: Annotated[
        float,
        Query(
            ge=FINEST_KM,
            le=COARSEST_KM,
            allow_inf_nan=False,
            description="Size of the cells to which the archive tells positions [km].",
        ),
    ] = DEFAULT_KM,
    form: Annotated[
        TripForm | None, Query(alias="format", description="The form, whatever Accept says; dwca is the archive.")
    ] = None,
) -> Response:
    """Export trips, in the order in which they began, streamed.

    NDJSON is what the import of trips takes back, whole. CSV has a row a catch with its trip beside it. The Darwin Core
    archive is to be given away: trips are events with their effort, catches occurrences, target species that were not
    caught absences; positions are middles of cells, and marks are named only where names are asked for.
    """
    if start is not None and end is not None and end <= start:
        raise DocumentInvalid(Fault("end", f"is {end.isoformat()}, not after start", "a later instant, or none"))
    media_type = _media_type(request, form, NDJSON, CSV, ARCHIVE)
    trips = export_trips(context, caller, WantedTrips(start, end, mark_id))
    if media_type == NDJSON:
        return write_stream(trip_lines(trips), NDJSON, "catch-log.ndjson")
    if media_type == CSV:
        return write_stream(trip_sheet(trips, names), CSV, "catch-log.csv")
    return write_stream(trip_archive(trips, grid_km, names), ARCHIVE, "catch-log.zip")


@router.get(
    "/diary-rows",
    operation_id="export_diary_rows",
    summary="Export diary rows",
    response_class=Response,
    responses=offer(DIARY_SHEET, NDJSON, etag=False) | declare("not-found", "invalid-input", "not-acceptable"),
)
def export_diary_files(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    first_day: Annotated[date | None, Query(description="Rows of this day or later, by local date.")] = None,
    last_day: Annotated[date | None, Query(description="Rows of this day or earlier.")] = None,
    mark_id: _AtMark = None,
    names: _Names = False,
    form: Annotated[RowForm | None, Query(alias="format", description="The form, whatever Accept says.")] = None,
) -> Response:
    """Export rows of diaries, in the order of their days, streamed; either form is what their import takes back."""
    if first_day is not None and last_day is not None and last_day < first_day:
        problem = f"is {last_day}, before first_day {first_day}"
        raise DocumentInvalid(Fault("last_day", problem, "the same day or a later one, or none"))
    media_type = _media_type(request, form, NDJSON, CSV)
    rows = export_diary_rows(context, caller, WantedRows(first_day, last_day, mark_id))
    if media_type == NDJSON:
        return write_stream(diary_lines(rows), NDJSON, "diary.ndjson")
    return write_stream(diary_sheet(rows, names), CSV, "diary.csv")
