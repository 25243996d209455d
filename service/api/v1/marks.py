"""Routes of marks."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.v1.schemas.marks import Mark, MarkCreate, MarkList, write_mark, write_marks
from service.usecases import marks

router = APIRouter(prefix="/marks", tags=["marks"], route_class=StrictRoute)


@router.post(
    "",
    operation_id="create_mark",
    summary="Make a mark",
    status_code=201,
    response_model=Mark,
    responses=declare("reference-taken", "store-conflict", document=True),
)
def create_mark(body: MarkCreate, caller: CallerDep, context: ContextDep) -> Response:
    """Make a mark, following the station that it names by id or external_ref."""
    view = marks.create_mark(context, caller, body.to_mark(), body.external_ref)
    return answer(write_mark(view), 201, {"Location": f"/v1/marks/{view.record.mark_id}"})


@router.get(
    "",
    operation_id="list_marks",
    summary="List marks",
    response_model=MarkList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_marks(
    request: Request, caller: CallerDep, context: ContextDep, cursor: Cursor = None, limit: Limit = 100
) -> Response:
    """List the marks of the account, a page at a time."""
    page = marks.list_marks(context, caller, read_cursor("marks", cursor), check_limit(request, limit))
    return answer(write_marks(page, write_cursor("marks", page.after)))


@router.get(
    "/{mark_id}",
    operation_id="get_mark",
    summary="Read a mark",
    response_model=Mark,
    responses=declare_conditional() | declare("not-found"),
)
def get_mark(request: Request, mark_id: MarkId, caller: CallerDep, context: ContextDep) -> Response:
    """Read a mark in its current version."""
    view = marks.get_mark(context, caller, mark_id)
    etag = document_etag("mark", mark_id, view.record.version, view.record.updated_at)
    return answer_document(request, etag, lambda: write_mark(view))
