"""Routes of regulations, and of plans held against them."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep, RegulationId, VersionOfDocument
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
from service.api.v1.schemas.regulation_findings import PlanFindings, RegulationCheck, write_plan_findings
from service.api.v1.schemas.regulations import (
    PATCH_EXAMPLE,
    Regulation,
    RegulationCreate,
    RegulationList,
    patched_regulation,
    write_regulation,
    write_regulations,
)
from service.api.v1.schemas.versions import DocumentVersionList, write_versions
from service.security import READ
from service.usecases.documents import Expected
from service.usecases.once import Answered
from service.usecases.records import DocumentRecord
from service.usecases.regulation_checks import check_plan
from service.usecases.regulations import REGULATIONS, RegulationView, list_regulations, today
from tidecore.place import Name

router = APIRouter(prefix="/regulations", tags=["regulations"], route_class=StrictRoute)


@router.post(
    "",
    operation_id="create_regulation",
    summary="Put a rule on file",
    status_code=201,
    response_model=Regulation,
    responses=declare("reference-taken", "store-conflict", *ONCE, document=True),
)
def create_regulation(body: RegulationCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Put a rule on file, as the authority has it; every fault of it is named at once."""
    draft = body.to_draft()
    day = today(context)
    return respond(
        once.run(
            context,
            caller,
            lambda keep: REGULATIONS.create(context, caller, draft, keep),
            lambda view: _made(view, day),
        )
    )


@router.get(
    "",
    operation_id="list_regulations",
    summary="List the rules on file",
    response_model=RegulationList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_rules_on_file(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    cursor: Cursor = None,
    limit: Limit = 100,
    external_ref: WantedReference = None,
    area: Annotated[Name | None, Query(description="Of this area: the name that the rules have.")] = None,
) -> Response:
    """List the rules on file, a page at a time: all of them, those of an area, or the one with a reference."""
    after = read_cursor("regulations", cursor)
    page = list_regulations(context, caller, area, after, check_limit(request, limit), external_ref)
    return answer(write_regulations(page, write_cursor("regulations", page.after), today(context)))


@router.put(
    "",
    operation_id="put_regulation",
    summary="Put or replace a rule by its reference",
    response_model=Regulation,
    responses={
        201: {"model": Regulation, "description": "It was not there, and has been made."},
        **declare("precondition-missing", "stale", "store-conflict", document=True),
    },
)
def put_regulation(
    external_ref: Reference, body: RegulationCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchOrNone
) -> Response:
    """Make the rule that the account calls `external_ref`, or replace what is there; `external_ref` of the
    body is not looked at. What is there already, word for word, needs no If-Match."""
    expected = None if if_match is None else _expected(if_match)
    edited = REGULATIONS.put(context, caller, body.to_draft(), external_ref, expected)
    day = today(context)
    return respond(_made(edited.view, day) if edited.made else _shown(edited.view, day))


@router.post(
    "/check",
    operation_id="check_regulations",
    summary="Hold a plan against the rules on file",
    response_model=PlanFindings,
    responses=declare("not-found", "invalid-span", document=True),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)
def check_regulations(body: RegulationCheck, caller: CallerDep, context: ContextDep) -> Response:
    """Say what the rules on file of the areas that a mark names say of a plan: bans, release-only seasons, zones and
    hours without fishing, rods, hooks, permits, gathering. What is not on file is said too; silence allows nothing."""
    return answer(write_plan_findings(check_plan(context, caller, body.question())))


@router.get(
    "/{regulation_id}",
    operation_id="get_regulation",
    summary="Read a rule on file",
    response_model=Regulation,
    responses=declare_conditional() | declare("not-found"),
)
def get_regulation(
    request: Request,
    regulation_id: RegulationId,
    caller: CallerDep,
    context: ContextDep,
    version: VersionOfDocument = None,
) -> Response:
    """Read a rule as it stands, or as it was in a version."""
    view = REGULATIONS.get(context, caller, regulation_id, version)
    day = today(context)
    return answer_document(request, _etag(view, day), lambda: write_regulation(view, day))


@router.get(
    "/{regulation_id}/versions",
    operation_id="list_regulation_versions",
    summary="List the versions of a rule",
    response_model=DocumentVersionList,
    responses=declare("not-found"),
)
def list_regulation_versions(regulation_id: RegulationId, caller: CallerDep, context: ContextDep) -> Response:
    """List every version of a rule, oldest first; each can still be read."""
    return answer(write_versions(REGULATIONS.versions(context, caller, regulation_id)))


@router.put(
    "/{regulation_id}",
    operation_id="replace_regulation",
    summary="Replace a rule on file",
    response_model=Regulation,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
)
def replace_regulation(
    regulation_id: RegulationId, body: RegulationCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Make what is sent the next version of a rule; the same again makes none."""
    draft = body.to_draft()
    edited = REGULATIONS.edit(context, caller, regulation_id, _expected(if_match), lambda _view: draft)
    return respond(_shown(edited, today(context)))


@router.patch(
    "/{regulation_id}",
    operation_id="patch_regulation",
    summary="Change a rule on file",
    response_model=Regulation,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_regulation(
    regulation_id: RegulationId, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent, by JSON Merge Patch over the fields of a new rule; the result is its next version."""
    edited = REGULATIONS.edit(
        context, caller, regulation_id, _expected(if_match), lambda view: patched_regulation(view, body)
    )
    return respond(_shown(edited, today(context)))


@router.delete(
    "/{regulation_id}",
    operation_id="delete_regulation",
    summary="Delete a rule on file",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_regulation(
    regulation_id: RegulationId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Delete a rule with all its versions."""
    REGULATIONS.remove(context, caller, regulation_id, _expected(if_match))
    return gone()


def _tag(record: DocumentRecord, stale: bool) -> str:
    # What is answered changes on the day on which a rule goes stale, and so does its ETag.
    kind = "stale regulation" if stale else "regulation"
    return document_etag(kind, record.id, record.version, record.updated_at)


def _etag(view: RegulationView, day: date) -> str:
    return _tag(view.record, view.document.stale_on(day))


def _expected(if_match: IfMatch) -> Expected:
    return lambda record: any(if_match.allows(_tag(record, stale)) for stale in (False, True))


def _shown(view: RegulationView, day: date) -> Answered:
    return written(write_regulation(view, day), 200, {"ETag": _etag(view, day)})


def _made(view: RegulationView, day: date) -> Answered:
    headers = {"Location": f"/v1/regulations/{view.record.id}", "ETag": _etag(view, day)}
    return written(write_regulation(view, day), 201, headers)
