"""Routes of marks."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from service.api.conditional import VARY_SERIES, answer_form, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, VersionOfDocument
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
from service.api.negotiation import GEOJSON, JSON, negotiated
from service.api.paging import Cursor, Limit, check_limit, link_next, read_cursor, write_cursor
from service.api.v1.schemas.common import Reference, WantedReference
from service.api.v1.schemas.mark_features import COLLECTION, FEATURE, export_mark, export_marks
from service.api.v1.schemas.marks import (
    PATCH_EXAMPLE,
    Mark,
    MarkCreate,
    MarkList,
    patched_mark,
    write_mark,
    write_marks,
)
from service.api.v1.schemas.versions import DocumentVersionList, write_versions
from service.usecases.documents import Expected
from service.usecases.marks import MARKS, MarkView
from service.usecases.once import Answered

router = APIRouter(prefix="/marks", tags=["marks"], route_class=StrictRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, GEOJSON))]


def _one_form_or_other() -> dict[int | str, dict[str, Any]]:
    """Return the declaration of a mark in its forms, and of 304."""
    declared = declare_conditional(VARY_SERIES)
    declared[200] |= FEATURE[200]
    return declared


@router.post(
    "",
    operation_id="create_mark",
    summary="Make a mark",
    status_code=201,
    response_model=Mark,
    responses=declare("reference-taken", "store-conflict", *ONCE, document=True),
)
def create_mark(body: MarkCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Make a mark, following the station that it names by id or external_ref."""
    draft = body.to_draft()
    return respond(once.run(context, caller, lambda keep: MARKS.create(context, caller, draft, keep), _made))


@router.get(
    "",
    operation_id="list_marks",
    summary="List marks",
    response_model=MarkList,
    responses=COLLECTION | declare("cursor-invalid", "invalid-input", "not-acceptable"),
)
def list_marks(
    request: Request,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    cursor: Cursor = None,
    limit: Limit = 100,
    external_ref: WantedReference = None,
) -> Response:
    """List the marks of the account, a page at a time, or the one that it calls by a reference.

    `Accept: application/geo+json` asks for a FeatureCollection, whose properties the import of marks takes back.
    """
    after = read_cursor("marks", cursor)
    page = MARKS.page(context, caller, after, check_limit(request, limit), external_ref)
    on = write_cursor("marks", page.after)
    headers = {"Vary": VARY_SERIES} | link_next(request, form, limit, on)
    if form == GEOJSON:
        return Response(export_marks(page, on), 200, headers, GEOJSON)
    return answer(write_marks(page, on), 200, headers)


@router.put(
    "",
    operation_id="put_mark",
    summary="Make or replace a mark by its reference",
    response_model=Mark,
    responses={
        201: {"model": Mark, "description": "It was not there, and has been made."},
        **declare("precondition-missing", "stale", "store-conflict", document=True),
    },
)
def put_mark(
    external_ref: Reference, body: MarkCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchOrNone
) -> Response:
    """Make the mark that the account calls `external_ref`, or replace what is there; `external_ref` of the body is
    not looked at. What is there already, word for word, needs no If-Match."""
    expected = None if if_match is None else _expected(if_match)
    edited = MARKS.put(context, caller, body.to_draft(), external_ref, expected)
    return respond(_made(edited.view) if edited.made else _shown(edited.view))


@router.get(
    "/{mark_id}",
    operation_id="get_mark",
    summary="Read a mark",
    response_model=Mark,
    responses=_one_form_or_other() | declare("not-found", "not-acceptable"),
)
def get_mark(
    request: Request,
    mark_id: MarkId,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionOfDocument = None,
) -> Response:
    """Read a mark as it stands, or as it was in a version; `Accept: application/geo+json` asks for it as a Feature.

    The ETag of an edit is that of the JSON.
    """
    view = MARKS.get(context, caller, mark_id, version)
    if form == GEOJSON:
        return answer_form(request, _etag(view, form), lambda: Response(export_mark(view), 200, None, GEOJSON))
    return answer_form(request, _etag(view), lambda: answer(write_mark(view)))


@router.get(
    "/{mark_id}/versions",
    operation_id="list_mark_versions",
    summary="List the versions of a mark",
    response_model=DocumentVersionList,
    responses=declare("not-found"),
)
def list_mark_versions(mark_id: MarkId, caller: CallerDep, context: ContextDep) -> Response:
    """List every version of a mark, oldest first; each can still be read."""
    return answer(write_versions(MARKS.versions(context, caller, mark_id)))


@router.put(
    "/{mark_id}",
    operation_id="replace_mark",
    summary="Replace a mark",
    response_model=Mark,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
)
def replace_mark(
    mark_id: MarkId, body: MarkCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Make what is sent the next version of a mark; the same again makes none."""
    draft = body.to_draft()
    return respond(_shown(MARKS.edit(context, caller, mark_id, _expected(if_match), lambda _view: draft)))


@router.patch(
    "/{mark_id}",
    operation_id="patch_mark",
    summary="Change a mark",
    response_model=Mark,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_mark(
    mark_id: MarkId, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent, by JSON Merge Patch over the fields of a new mark; the result is its next version."""
    expected = _expected(if_match)
    return respond(_shown(MARKS.edit(context, caller, mark_id, expected, lambda view: patched_mark(view, body))))


@router.delete(
    "/{mark_id}",
    operation_id="delete_mark",
    summary="Delete a mark",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", "in-use", *EDIT),
)
def delete_mark(mark_id: MarkId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a mark with all its versions."""
    MARKS.remove(context, caller, mark_id, _expected(if_match))
    return gone()


def _etag(view: MarkView, form: str = JSON) -> str:
    kind = "mark" if form == JSON else f"mark {form}"
    return document_etag(kind, view.record.id, view.record.version, view.record.updated_at)


def _expected(if_match: IfMatch) -> Expected:
    return lambda record: if_match.allows(document_etag("mark", record.id, record.version, record.updated_at))


def _shown(view: MarkView) -> Answered:
    return written(write_mark(view), 200, {"ETag": _etag(view)})


def _made(view: MarkView) -> Answered:
    headers = {"Location": f"/v1/marks/{view.record.id}", "ETag": _etag(view)}
    return written(write_mark(view), 201, headers)
