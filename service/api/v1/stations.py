"""Routes of stations."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, StationId, VersionQuery
from service.api.editing import (
    EDIT,
    ONCE,
    IfMatch,
    IfMatchDep,
    IfMatchOrNone,
    MergePatch,
    OnceDep,
    gone,
    patch_example,
    respond,
    written,
)
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.v1.schemas.common import Reference, WantedReference
from service.api.v1.schemas.stations import (
    PATCH_EXAMPLE,
    Station,
    StationCreate,
    StationList,
    patched_station,
    write_station,
    write_stations,
)
from service.usecases import stations
from service.usecases.once import Answered
from service.usecases.records import StationRecord
from service.usecases.stations import StationView

#: Problems of what is said of a station.
_SAID = ("datum-conflict", "invalid-constituents", "invalid-position", "unknown-name")

router = APIRouter(prefix="/stations", tags=["stations"], route_class=StrictRoute)


@router.post(
    "",
    operation_id="create_station",
    summary="Make a station",
    status_code=201,
    response_model=Station,
    responses=declare(*_SAID, "reference-taken", "store-conflict", *ONCE, document=True),
)
def create_station(body: StationCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Make a station from constituents, or without a tide until a fit is adopted."""
    new = body.to_new()
    make = stations.create_station
    return respond(once.run(context, caller, lambda keep: make(context, caller, new, keep), _made))


@router.get(
    "",
    operation_id="list_stations",
    summary="List stations",
    response_model=StationList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_stations(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    cursor: Cursor = None,
    limit: Limit = 100,
    external_ref: WantedReference = None,
) -> Response:
    """List the stations of the account and public ones, a page at a time, or the one that it calls by a reference."""
    after = read_cursor("stations", cursor)
    page = stations.list_stations(context, caller, after, check_limit(request, limit), external_ref)
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
    return answer_document(request, _headers(view)["ETag"], lambda: write_station(view))


@router.put(
    "",
    operation_id="put_station",
    summary="Make or replace a station by its reference",
    response_model=Station,
    responses={
        201: {"model": Station, "description": "It was not there, and has been made."},
        **declare(*_SAID, *EDIT, document=True),
    },
)
def put_station(
    external_ref: Reference, body: StationCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchOrNone
) -> Response:
    """Make the station that the account calls `external_ref`, or replace what is said of it; `external_ref` of the
    body is not looked at, and without `model` the tide stays as it is."""
    expected = None if if_match is None else _expected(if_match)
    view, made = stations.put_station(context, caller, body.to_new(), external_ref, expected)
    return respond(_made(view) if made else _shown(view))


@router.put(
    "/{station_id}",
    operation_id="replace_station",
    summary="Replace a station",
    response_model=Station,
    responses=declare("not-found", "not-owned", "reference-taken", *_SAID, *EDIT, document=True),
)
def replace_station(
    station_id: StationId, body: StationCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Replace what is said of a station; `model` becomes the next version of its tide, which stays without it."""
    new = body.to_new()
    view = stations.edit_station(context, caller, station_id, _expected(if_match), lambda _record: new)
    return respond(_shown(view))


@router.patch(
    "/{station_id}",
    operation_id="patch_station",
    summary="Change a station",
    response_model=Station,
    responses=declare("not-found", "not-owned", "reference-taken", *_SAID, *EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_station(
    station_id: StationId, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent, by JSON Merge Patch over the fields of a new station; `model` is given whole."""
    expected = _expected(if_match)
    view = stations.edit_station(context, caller, station_id, expected, lambda record: patched_station(record, body))
    return respond(_shown(view))


@router.delete(
    "/{station_id}",
    operation_id="delete_station",
    summary="Delete a station",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", "not-owned", "in-use", *EDIT),
)
def delete_station(station_id: StationId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a station with its models and fits, unless marks follow it."""
    stations.remove_station(context, caller, station_id, _expected(if_match))
    return gone()


def _etag_of(record: StationRecord, version: int) -> str:
    return document_etag("station", record.station_id, version, record.updated_at)


def _expected(if_match: IfMatch) -> stations.ExpectedStation:
    return lambda record: if_match.allows(_etag_of(record, record.version))


def _headers(view: StationView) -> dict[str, str]:
    version = view.station.version if view.model is None else view.model.version
    return {"ETag": _etag_of(view.station, version)}


def _shown(view: StationView) -> Answered:
    return written(write_station(view), 200, _headers(view))


def _made(view: StationView) -> Answered:
    location = {"Location": f"/v1/stations/{view.station.station_id}"}
    return written(write_station(view), 201, {**location, **_headers(view)})
