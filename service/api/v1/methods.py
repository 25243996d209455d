"""Routes of methods, and of picks among them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep, MethodId, VersionOfDocument
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
from service.api.v1.schemas.method_picks import MethodPicks, MethodQuestion, write_picks
from service.api.v1.schemas.methods import (
    PATCH_EXAMPLE,
    Method,
    MethodCreate,
    MethodList,
    patched_method,
    write_method,
    write_methods,
)
from service.api.v1.schemas.versions import DocumentVersionList, write_versions
from service.security import READ
from service.usecases.documents import Expected
from service.usecases.method_picks import find_picks
from service.usecases.methods import METHODS, MethodView
from service.usecases.once import Answered
from service.usecases.stations import check_zone
from tidecore import NUMERICS
from tidecore.rules import method_schema

router = APIRouter(prefix="/methods", tags=["methods"], route_class=StrictRoute)


@router.post(
    "",
    operation_id="create_method",
    summary="Make a method",
    status_code=201,
    response_model=Method,
    responses=declare("reference-taken", "store-conflict", *ONCE, document=True),
)
def create_method(body: MethodCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Make a method; every fault of it is named at once. A leader too weak for the cast is no fault: `remarks` say what
    would be right."""
    draft = body.to_draft()
    return respond(once.run(context, caller, lambda keep: METHODS.create(context, caller, draft, keep), _made))


@router.get(
    "",
    operation_id="list_methods",
    summary="List methods",
    response_model=MethodList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_methods(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    cursor: Cursor = None,
    limit: Limit = 100,
    external_ref: WantedReference = None,
) -> Response:
    """List the methods of the account, a page at a time, or the one that it calls by a reference."""
    after = read_cursor("methods", cursor)
    page = METHODS.page(context, caller, after, check_limit(request, limit), external_ref)
    return answer(write_methods(page, write_cursor("methods", page.after)))


@router.put(
    "",
    operation_id="put_method",
    summary="Make or replace a method by its reference",
    response_model=Method,
    responses={
        201: {"model": Method, "description": "It was not there, and has been made."},
        **declare("precondition-missing", "stale", "store-conflict", document=True),
    },
)
def put_method(
    external_ref: Reference, body: MethodCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchOrNone
) -> Response:
    """Make the method that the account calls `external_ref`, or replace what is there; `external_ref` of the
    body is not looked at. What is there already, word for word, needs no If-Match."""
    expected = None if if_match is None else _expected(if_match)
    edited = METHODS.put(context, caller, body.to_draft(), external_ref, expected)
    return respond(_made(edited.view) if edited.made else _shown(edited.view))


@router.get(
    "/schema",
    operation_id="get_method_schema",
    summary="JSON Schema of methods",
    response_model=dict[str, Any],
    responses=declare(),
)
def get_method_schema() -> Response:
    """The JSON Schema (draft 2020-12) of a method, with the factors that `suits` may name."""
    return answer(method_schema())


@router.post(
    "/picks",
    operation_id="pick_methods",
    summary="Pick methods for a session",
    response_model=MethodPicks,
    responses=declare(
        "not-found",
        "no-model",
        "invalid-span",
        "search-too-large",
        "outside-ephemeris",
        "model-unreadable",
        document=True,
    ),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)
def pick_methods(body: MethodQuestion, caller: CallerDep, context: ContextDep) -> Response:
    """Rank methods for a session at a mark, with reasons, and say what each rod does when, what bait to take, and what
    is not right with the tackle. Numbers are common practice, with no source."""
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    return answer(write_picks(find_picks(context, caller, body.question()), body.rods, NUMERICS, zone))


@router.get(
    "/{method_id}",
    operation_id="get_method",
    summary="Read a method",
    response_model=Method,
    responses=declare_conditional() | declare("not-found"),
)
def get_method(
    request: Request, method_id: MethodId, caller: CallerDep, context: ContextDep, version: VersionOfDocument = None
) -> Response:
    """Read a method as it stands, or as it was in a version."""
    view = METHODS.get(context, caller, method_id, version)
    return answer_document(request, _etag(view), lambda: write_method(view))


@router.get(
    "/{method_id}/versions",
    operation_id="list_method_versions",
    summary="List the versions of a method",
    response_model=DocumentVersionList,
    responses=declare("not-found"),
)
def list_method_versions(method_id: MethodId, caller: CallerDep, context: ContextDep) -> Response:
    """List every version of a method, oldest first; each can still be read."""
    return answer(write_versions(METHODS.versions(context, caller, method_id)))


@router.put(
    "/{method_id}",
    operation_id="replace_method",
    summary="Replace a method",
    response_model=Method,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
)
def replace_method(
    method_id: MethodId, body: MethodCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Make what is sent the next version of a method; the same again makes none."""
    draft = body.to_draft()
    return respond(_shown(METHODS.edit(context, caller, method_id, _expected(if_match), lambda _view: draft)))


@router.patch(
    "/{method_id}",
    operation_id="patch_method",
    summary="Change a method",
    response_model=Method,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_method(
    method_id: MethodId, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent, by JSON Merge Patch over the fields of a new method; the result is its next version."""
    expected = _expected(if_match)
    return respond(_shown(METHODS.edit(context, caller, method_id, expected, lambda view: patched_method(view, body))))


@router.delete(
    "/{method_id}",
    operation_id="delete_method",
    summary="Delete a method",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", "in-use", *EDIT),
)
def delete_method(method_id: MethodId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a method with all its versions."""
    METHODS.remove(context, caller, method_id, _expected(if_match))
    return gone()


def _etag(view: MethodView) -> str:
    return document_etag("method", view.record.id, view.record.version, view.record.updated_at)


def _expected(if_match: IfMatch) -> Expected:
    return lambda record: if_match.allows(document_etag("method", record.id, record.version, record.updated_at))


def _shown(view: MethodView) -> Answered:
    return written(write_method(view), 200, {"ETag": _etag(view)})


def _made(view: MethodView) -> Answered:
    headers = {"Location": f"/v1/methods/{view.record.id}", "ETag": _etag(view)}
    return written(write_method(view), 201, headers)
