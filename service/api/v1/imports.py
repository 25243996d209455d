"""Routes of imports."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, ImportId
from service.api.editing import ONCE, IdempotencyKey, fingerprint, respond, written
from service.api.media import ROW_TYPES, StrictRoute, answer, media_type, receive_rows
from service.api.paging import (
    Cursor,
    Limit,
    check_limit,
    read_cursor,
    read_row_place,
    write_cursor,
    write_row_place,
)
from service.api.v1.schemas.common import RETRY_AFTER, retry_after
from service.api.v1.schemas.imports import (
    Import,
    ImportList,
    ImportReport,
    Kind,
    Status,
    read_mapping,
    write_import,
    write_imports,
    write_report,
)
from service.usecases import imports
from service.usecases.fits import Upload
from service.usecases.imports import ImportRequest
from service.usecases.once import Answered, Once
from service.usecases.records import ImportRecord

router = APIRouter(prefix="/imports", tags=["imports"], route_class=StrictRoute)

_EXAMPLES = {
    "application/x-ndjson": (
        '{"client_ref": "long-beach", "name": "Pellwick Long Beach", "latitude": 51.23, "longitude": -20.37, '
        '"time_zone": "Etc/UTC", "station": "pellwick-roads", "kind": "open_beach", "beds": ["clean_sand"], '
        '"facing_degree": 215, "profile": [{"distance_m": 0, "level_m": 6}, {"distance_m": 80, "level_m": 1}]}\n'
    ),
    "text/csv": (
        "client_ref,name,latitude,longitude,time_zone,station,kind,beds,slack_lags.after_hw_min,"
        "slack_lags.after_lw_min,notes\n"
        "long-beach,Pellwick Long Beach,51.23,-20.37,Etc/UTC,pellwick-roads,open_beach,clean_sand;mud,25,35,Invented.\n"
    ),
    "application/geo+json": (
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": {"type": "Point", "coordinates": '
        '[-20.37, 51.23]}, "properties": {"client_ref": "long-beach", "name": "Pellwick Long Beach", "time_zone": '
        '"Etc/UTC", "station": "pellwick-roads", "kind": "open_beach"}}]}\n'
    ),
}
_ROWS: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "The rows. Each has a client_ref, the caller's own name for its thing, beside what a POST of "
        "the thing takes. NDJSON: an object a line. CSV: a header of field names, an empty cell for what is not given, "
        "lists with semicolons, slack_lags.after_hw_min for what lies inside, profile, species, access and way_back as "
        "JSON in a cell; stations without a model alone. GeoJSON: a FeatureCollection of Points, the other fields as "
        "properties.",
        "content": {
            name: {"schema": {"type": "string", "format": "binary"}, "example": _EXAMPLES[name]} for name in ROW_TYPES
        },
    }
}
_MAPPING = (
    "How to read a CSV that names and writes things in its own way, as JSON. columns: their column -> ours; constants: "
    "ours -> what no column says; values: ours -> their word -> ours; ignore: columns left out, with * at the end all "
    "that begin so; client_ref_from: columns whose cells make the client_ref; skip_without: rows with nothing in this "
    "column are none; date_format: as DD.MM.YYYY; time_zone: whose clock times without an offset are by, mark for that "
    "of the mark; decimal: . or ,; delimiter: , ; | or a tab; encoding: utf-8, utf-8-sig or latin-1."
)
_MAPPING_EXAMPLE = (
    '{"columns": {"Day": "date", "Where": "mark", "Tide": "tide", "Cod": "caught.Gadus morhua"}, '
    '"constants": {"outcome": "by_count"}, "client_ref_from": ["Day", "Where"], "date_format": "DD.MM.YYYY"}'
)


@router.post(
    "",
    operation_id="create_import",
    summary="Import a file of rows",
    status_code=202,
    response_model=Import,
    responses={
        **declare("invalid-input", "body-too-large", "media-not-supported", "too-many-jobs", "store-conflict", *ONCE),
        202: RETRY_AFTER,
    },
    openapi_extra=_ROWS,
)
def create_import(
    request: Request,
    kind: Annotated[Kind, Query(description="What the rows are.", examples=["mark"])],
    rows: Annotated[Upload, Depends(receive_rows)],
    caller: CallerDep,
    context: ContextDep,
    dry_run: Annotated[bool, Query(description="Only judge the rows, and write nothing but the report.")] = False,
    mapping: Annotated[str | None, Query(max_length=16_000, description=_MAPPING, examples=[_MAPPING_EXAMPLE])] = None,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """Send marks or stations by the thousand; the answer comes at once, and its Location says how the import fares.

    A row whose `client_ref` nothing has yet makes a record with that as its `external_ref`. What is there already is
    never changed: the same content is `unchanged`, other content a `conflict`. A row that is wrong stops no other. The
    same file sent again while its import waits or runs is answered with that import.
    """
    given = media_type(request)
    once = Once(idempotency_key, fingerprint(request, f"{given} {rows.sha256}".encode()))
    asked = ImportRequest(kind, ROW_TYPES[given], dry_run, read_mapping(mapping))
    return respond(
        once.run(context, caller, lambda keep: imports.request_import(context, caller, rows, asked, keep), _taken)
    )


def _taken(record: ImportRecord) -> Answered:
    headers = {"Location": f"/v1/imports/{record.import_id}", **retry_after(record.state)}
    return written(write_import(record), 202, headers)


@router.get(
    "",
    operation_id="list_imports",
    summary="List imports",
    response_model=ImportList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_imports(
    request: Request, caller: CallerDep, context: ContextDep, cursor: Cursor = None, limit: Limit = 100
) -> Response:
    """List the imports of the account in the order they were asked for, a page at a time."""
    after = read_cursor("imports", cursor)
    page = imports.list_imports(context, caller, after, check_limit(request, limit))
    return answer(write_imports(page, write_cursor("imports", page.after)))


@router.get(
    "/{import_id}",
    operation_id="get_import",
    summary="Read an import",
    response_model=Import,
    responses={**declare("not-found"), 200: RETRY_AFTER},
)
def get_import(import_id: ImportId, caller: CallerDep, context: ContextDep) -> Response:
    """Read the state of an import, how many rows are done, and what became of them, or why the file broke."""
    record = imports.get_import(context, caller, import_id)
    return answer(write_import(record), 200, retry_after(record.state))


@router.get(
    "/{import_id}/rows",
    operation_id="list_import_rows",
    summary="Read the report of an import",
    response_model=ImportReport,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_import_rows(
    import_id: ImportId,
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    status: Annotated[Status | None, Query(description="Only rows of this status.", examples=["invalid"])] = None,
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """Read what became of each row, in the order of the file, a page at a time; while it runs, of those done so far."""
    most = check_limit(request, limit)
    page = imports.list_lines(context, caller, import_id, status, read_row_place(import_id, cursor), most)
    return answer(write_report(page, write_row_place(import_id, page.after)))
