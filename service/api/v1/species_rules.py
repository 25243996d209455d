"""Routes of species rules."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep, RuleId, SpanDep, VersionOfDocument
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
from service.api.v1.schemas.rule_remarks import (
    Remarks,
    RemarksAtMark,
    RuleToLint,
    write_remarks,
    write_remarks_at_mark,
)
from service.api.v1.schemas.species_rules import (
    PATCH_EXAMPLE,
    SpeciesRule,
    SpeciesRuleCreate,
    SpeciesRuleList,
    patched_rule,
    write_rule,
    write_rules,
)
from service.api.v1.schemas.versions import DocumentVersionList, write_versions
from service.security import READ
from service.usecases.documents import Expected
from service.usecases.once import Answered
from service.usecases.rule_remarks import remarks_on
from service.usecases.species_rules import SPECIES_RULES, RuleView
from tidecore.rules import lint, rule_schema

router = APIRouter(prefix="/species-rules", tags=["species-rules"], route_class=StrictRoute)


@router.post(
    "",
    operation_id="create_species_rule",
    summary="Make a species rule",
    status_code=201,
    response_model=SpeciesRule,
    responses=declare("reference-taken", "store-conflict", *ONCE, document=True),
)
def create_species_rule(body: SpeciesRuleCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Make a species rule; every fault of it is named at once."""
    draft = body.to_draft()
    return respond(once.run(context, caller, lambda keep: SPECIES_RULES.create(context, caller, draft, keep), _made))


@router.get(
    "",
    operation_id="list_species_rules",
    summary="List species rules",
    response_model=SpeciesRuleList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_species_rules(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    cursor: Cursor = None,
    limit: Limit = 100,
    external_ref: WantedReference = None,
) -> Response:
    """List the species rules of the account, a page at a time, or the one that it calls by a reference."""
    after = read_cursor("species_rules", cursor)
    page = SPECIES_RULES.page(context, caller, after, check_limit(request, limit), external_ref)
    return answer(write_rules(page, write_cursor("species_rules", page.after)))


@router.put(
    "",
    operation_id="put_species_rule",
    summary="Make or replace a species rule by its reference",
    response_model=SpeciesRule,
    responses={
        201: {"model": SpeciesRule, "description": "It was not there, and has been made."},
        **declare("precondition-missing", "stale", "store-conflict", document=True),
    },
)
def put_species_rule(
    external_ref: Reference, body: SpeciesRuleCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchOrNone
) -> Response:
    """Make the species rule that the account calls `external_ref`, or replace what is there; `external_ref` of the
    body is not looked at. What is there already, word for word, needs no If-Match."""
    expected = None if if_match is None else _expected(if_match)
    edited = SPECIES_RULES.put(context, caller, body.to_draft(), external_ref, expected)
    return respond(_made(edited.view) if edited.made else _shown(edited.view))


@router.get(
    "/schema",
    operation_id="get_species_rule_schema",
    summary="JSON Schema of species rules",
    response_model=dict[str, Any],
    responses=declare(),
)
def get_species_rule_schema() -> Response:
    """The JSON Schema (draft 2020-12) of a species rule, with the factors there are."""
    return answer(rule_schema())


@router.post(
    "/lint",
    operation_id="lint_species_rule",
    summary="Look a species rule over",
    response_model=Remarks,
    responses=declare(document=True),
    # It only looks, for all that it is a POST.
    openapi_extra=needs(READ),
)
def lint_species_rule(body: RuleToLint) -> Response:
    """Find what the author of a rule can hardly mean: requirements that exclude each other, terms that never bite,
    seasons that leave no day. Nothing is kept."""
    return answer({"remarks": write_remarks(lint(body))})


@router.get(
    "/{rule_id}/remarks",
    operation_id="get_species_rule_remarks",
    summary="Remarks on a species rule at a mark",
    response_model=RemarksAtMark,
    responses=declare(
        "not-found",
        "no-model",
        "invalid-span",
        "span-too-long",
        "invalid-input",
        "invalid-rule",
        "outside-ephemeris",
        "model-unreadable",
    ),
)
def get_species_rule_remarks(
    rule_id: RuleId,
    mark_id: Annotated[str, Query(min_length=1, max_length=64, description="Id of a mark.")],
    span: SpanDep,
    caller: CallerDep,
    context: ContextDep,
) -> Response:
    """Find what a rule can hardly mean at a mark over a span: factors that are never known there or never bite,
    requirements that are never met together, ground that it does not accept."""
    return answer(write_remarks_at_mark(remarks_on(context, caller, rule_id, mark_id, span)))


@router.get(
    "/{rule_id}",
    operation_id="get_species_rule",
    summary="Read a species rule",
    response_model=SpeciesRule,
    responses=declare_conditional() | declare("not-found"),
)
def get_species_rule(
    request: Request, rule_id: RuleId, caller: CallerDep, context: ContextDep, version: VersionOfDocument = None
) -> Response:
    """Read a species rule as it stands, or as it was in a version."""
    view = SPECIES_RULES.get(context, caller, rule_id, version)
    return answer_document(request, _etag(view), lambda: write_rule(view))


@router.get(
    "/{rule_id}/versions",
    operation_id="list_species_rule_versions",
    summary="List the versions of a species rule",
    response_model=DocumentVersionList,
    responses=declare("not-found"),
)
def list_species_rule_versions(rule_id: RuleId, caller: CallerDep, context: ContextDep) -> Response:
    """List every version of a species rule, oldest first; each can still be read."""
    return answer(write_versions(SPECIES_RULES.versions(context, caller, rule_id)))


@router.put(
    "/{rule_id}",
    operation_id="replace_species_rule",
    summary="Replace a species rule",
    response_model=SpeciesRule,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
)
def replace_species_rule(
    rule_id: RuleId, body: SpeciesRuleCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Make what is sent the next version of a species rule; the same again makes none."""
    draft = body.to_draft()
    return respond(_shown(SPECIES_RULES.edit(context, caller, rule_id, _expected(if_match), lambda _view: draft)))


@router.patch(
    "/{rule_id}",
    operation_id="patch_species_rule",
    summary="Change a species rule",
    response_model=SpeciesRule,
    responses=declare("not-found", "reference-taken", "invalid-rule", *EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_species_rule(
    rule_id: RuleId, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent, by JSON Merge Patch over the fields of a new rule; the result is its next version."""
    expected = _expected(if_match)
    return respond(
        _shown(SPECIES_RULES.edit(context, caller, rule_id, expected, lambda view: patched_rule(view, body)))
    )


@router.delete(
    "/{rule_id}",
    operation_id="delete_species_rule",
    summary="Delete a species rule",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", "in-use", *EDIT),
)
def delete_species_rule(rule_id: RuleId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a species rule with all its versions."""
    SPECIES_RULES.remove(context, caller, rule_id, _expected(if_match))
    return gone()


def _etag(view: RuleView) -> str:
    return document_etag("species_rule", view.record.id, view.record.version, view.record.updated_at)


def _expected(if_match: IfMatch) -> Expected:
    return lambda record: if_match.allows(document_etag("species_rule", record.id, record.version, record.updated_at))


def _shown(view: RuleView) -> Answered:
    return written(write_rule(view), 200, {"ETag": _etag(view)})


def _made(view: RuleView) -> Answered:
    headers = {"Location": f"/v1/species-rules/{view.record.id}", "ETag": _etag(view)}
    return written(write_rule(view), 201, headers)
