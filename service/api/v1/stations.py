"""Routes of stations."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, StationId, VersionQuery
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.v1.schemas.stations import Station, StationCreate, StationList, write_station, write_stations
from service.usecases import stations

router = APIRouter(prefix="/stations", tags=["stations"], route_class=StrictRoute)


@router.post(
    "",
    operation_id="create_station",
    summary="Make a station",
    status_code=201,
    response_model=Station,
    responses=declare(
        "invalid-constituents", "invalid-position", "unknown-name", "reference-taken", "store-conflict", document=True
    ),
)
def create_station(body: StationCreate, caller: CallerDep, context: ContextDep) -> Response:
    """Make a station from constituents, or without a tide until a fit is adopted."""
    view = stations.create_station(context, caller, body.to_new())
    return answer(write_station(view), 201, {"Location": f"/v1/stations/{view.station.station_id}"})


@router.get(
    "",
    operation_id="list_stations",
    summary="List stations",
    response_model=StationList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_stations(
    request: Request, caller: CallerDep, context: ContextDep, cursor: Cursor = None, limit: Limit = 100
) -> Response:
    """List the stations of the account, a page at a time."""
    after = read_cursor("stations", cursor)
    page = stations.list_stations(context, caller, after, check_limit(request, limit))
    return answer(write_stations(page, write_cursor("stations", page.after)))


@router.get(
    "/{station_id}",
    operation_id="get_station",
    summary="Read a station",
    response_model=Station,
    responses=declare_conditional() | declare("not-found"),
)
def get_station(
    request: Request, station_id: StationId, caller: CallerDep, context: ContextDep, version: VersionQuery = None
) -> Response:
    """Read a station with its current tide model, or with that of a version."""
    view = stations.get_station(context, caller, station_id, version)
    shown = view.station.version if version is None else version
    etag = document_etag("station", station_id, shown, view.station.updated_at)
    return answer_document(request, etag, lambda: write_station(view))
