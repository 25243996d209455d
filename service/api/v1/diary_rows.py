"""Routes of coarse rows of old diaries: logged, read with their effort, edited in versions, deleted."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, inputs_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, DiaryRowId, OfMark, VersionOfDocument
from service.api.editing import (
    EDIT,
    ONCE,
    IfMatchDep,
    IfMatchOrNone,
    MergePatch,
    OnceDep,
    gone,
    patch_example,
    respond,
    seen,
    written,
)
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_log_place, write_log_place
from service.api.v1.schemas.common import Reference, WantedReference
from service.api.v1.schemas.diary_rows import (
    PATCH_EXAMPLE,
    DiaryRowCreate,
    LoggedDiaryRow,
    LoggedDiaryRowList,
    patched_row,
    write_row,
    write_rows,
)
from service.api.v1.schemas.versions import DocumentVersionList, write_versions
from service.errors import DocumentInvalid
from service.usecases.diary_rows import DIARY_LOG, DIARY_ROWS, DiaryRowShown
from service.usecases.logged import LogQuestion
from service.usecases.once import Answered
from tidecore.calendars.patterns import CalendarDate
from tidecore.errors import Fault

router = APIRouter(prefix="/diary-rows", tags=["diary-rows"], route_class=StrictRoute)

Outcome = Annotated[
    Literal["fished", "blank", "not_fished"] | None, Query(description="Only rows that say so; all unless given.")
]


@router.post(
    "",
    operation_id="create_diary_row",
    summary="Log a row of an old diary",
    status_code=201,
    response_model=LoggedDiaryRow,
    responses=declare("reference-taken", "store-conflict", *ONCE, document=True),
)
def create_diary_row(body: DiaryRowCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Log a coarse row: a day at a mark, roughly when, how many rods, what was caught. Its effort is told with it,
    marked as coarse, and what is not sure about it is named."""
    draft = body.to_draft()
    return respond(once.run(context, caller, lambda keep: DIARY_LOG.create(context, caller, draft, keep), _made))


@router.get(
    "",
    operation_id="list_diary_rows",
    summary="List rows of old diaries",
    response_model=LoggedDiaryRowList,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_diary_rows(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    mark_id: OfMark = None,
    from_: Annotated[CalendarDate | None, Query(alias="from", description="Only rows of that day or later.")] = None,
    to: Annotated[CalendarDate | None, Query(description="Only rows of days before.")] = None,
    outcome: Outcome = None,
    cursor: Cursor = None,
    limit: Limit = 100,
    external_ref: WantedReference = None,
) -> Response:
    """List the rows of the account by their day, a page at a time, or the one that it calls by a reference."""
    limit = check_limit(request, limit)
    if external_ref is not None:
        return answer(write_rows(DIARY_LOG.named(context, caller, external_ref), None))
    first, end = (None if day is None else date.fromisoformat(day) for day in (from_, to))
    if first is not None and end is not None and end <= first:
        raise DocumentInvalid(Fault("to", f"is {to}, not after from", "a later day, or none"))
    after = read_log_place("diary-rows", cursor, date.fromisoformat)
    page = DIARY_LOG.page(context, caller, LogQuestion(mark_id, first, end, outcome, after), limit)
    return answer(write_rows(page, write_log_place("diary-rows", page.after)))


@router.put(
    "",
    operation_id="put_diary_row",
    summary="Log or replace a row by its reference",
    response_model=LoggedDiaryRow,
    responses={
        201: {"model": LoggedDiaryRow, "description": "It was not there, and has been logged."},
        **declare("precondition-missing", "stale", "store-conflict", document=True),
    },
)
def put_diary_row(
    external_ref: Reference, body: DiaryRowCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchOrNone
) -> Response:
    """Log the row that the account calls `external_ref`, or replace what is there; `external_ref` of the body is not
    looked at. What is there already, word for word, needs no If-Match."""
    given = None if if_match is None else lambda shown: if_match.allows(_etag(shown))
    shown, made = DIARY_LOG.put(context, caller, body.to_draft(), external_ref, given)
    return respond(_made(shown) if made else _shown(shown))


@router.get(
    "/{diary_row_id}",
    operation_id="get_diary_row",
    summary="Read a row of an old diary",
    response_model=LoggedDiaryRow,
    responses=declare_conditional() | declare("not-found"),
)
def get_diary_row(
    request: Request,
    diary_row_id: DiaryRowId,
    caller: CallerDep,
    context: ContextDep,
    version: VersionOfDocument = None,
) -> Response:
    """Read a row as it stands, or as it was in a version, with its effort as the tide of the mark tells it now."""
    shown = DIARY_LOG.get(context, caller, diary_row_id, version)
    return answer_document(request, _etag(shown), lambda: write_row(shown))


@router.get(
    "/{diary_row_id}/versions",
    operation_id="list_diary_row_versions",
    summary="List the versions of a row",
    response_model=DocumentVersionList,
    responses=declare("not-found"),
)
def list_diary_row_versions(diary_row_id: DiaryRowId, caller: CallerDep, context: ContextDep) -> Response:
    """List every version of a row, oldest first; each can still be read."""
    return answer(write_versions(DIARY_ROWS.versions(context, caller, diary_row_id)))


@router.put(
    "/{diary_row_id}",
    operation_id="replace_diary_row",
    summary="Replace a row of an old diary",
    response_model=LoggedDiaryRow,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
)
def replace_diary_row(
    diary_row_id: DiaryRowId, body: DiaryRowCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Make what is sent the next version of a row; the same again makes none."""
    draft, allows = body.to_draft(), seen(if_match, _etag)
    return respond(_shown(DIARY_LOG.edit(context, caller, diary_row_id, allows, lambda _view: draft)))


@router.patch(
    "/{diary_row_id}",
    operation_id="patch_diary_row",
    summary="Change a row of an old diary",
    response_model=LoggedDiaryRow,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_diary_row(
    diary_row_id: DiaryRowId, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent, by JSON Merge Patch over the fields of a new row; the result is its next version."""
    allows = seen(if_match, _etag)
    return respond(_shown(DIARY_LOG.edit(context, caller, diary_row_id, allows, lambda view: patched_row(view, body))))


@router.delete(
    "/{diary_row_id}",
    operation_id="delete_diary_row",
    summary="Delete a row of an old diary",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_diary_row(
    diary_row_id: DiaryRowId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Delete a row with all its versions."""
    DIARY_LOG.remove(context, caller, diary_row_id, seen(if_match, _etag))
    return gone()


def _etag(shown: DiaryRowShown) -> str:
    return inputs_etag(shown.inputs)


def _shown(shown: DiaryRowShown) -> Answered:
    return written(write_row(shown), 200, {"ETag": _etag(shown)})


def _made(shown: DiaryRowShown) -> Answered:
    headers = {"Location": f"/v1/diary-rows/{shown.view.record.id}", "ETag": _etag(shown)}
    return written(write_row(shown), 201, headers)
