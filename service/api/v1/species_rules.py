"""Routes of species rules."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, RuleId
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.v1.schemas.species_rules import (
    SpeciesRule,
    SpeciesRuleCreate,
    SpeciesRuleList,
    write_rule,
    write_rules,
)
from service.usecases import species_rules
from tidecore.rules import rule_schema

router = APIRouter(prefix="/species-rules", tags=["species-rules"], route_class=StrictRoute)


@router.post(
    "",
    operation_id="create_species_rule",
    summary="Make a species rule",
    status_code=201,
    response_model=SpeciesRule,
    responses=declare("reference-taken", "store-conflict", document=True),
)
def create_species_rule(body: SpeciesRuleCreate, caller: CallerDep, context: ContextDep) -> Response:
    """Make a species rule; every fault of it is named at once."""
    view = species_rules.create_rule(context, caller, body.to_rule(), body.external_ref)
    return answer(write_rule(view), 201, {"Location": f"/v1/species-rules/{view.record.rule_id}"})


@router.get(
    "",
    operation_id="list_species_rules",
    summary="List species rules",
    response_model=SpeciesRuleList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_species_rules(
    request: Request, caller: CallerDep, context: ContextDep, cursor: Cursor = None, limit: Limit = 100
) -> Response:
    """List the species rules of the account, a page at a time."""
    after = read_cursor("species_rules", cursor)
    page = species_rules.list_rules(context, caller, after, check_limit(request, limit))
    return answer(write_rules(page, write_cursor("species_rules", page.after)))


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


@router.get(
    "/{rule_id}",
    operation_id="get_species_rule",
    summary="Read a species rule",
    response_model=SpeciesRule,
    responses=declare_conditional() | declare("not-found"),
)
def get_species_rule(request: Request, rule_id: RuleId, caller: CallerDep, context: ContextDep) -> Response:
    """Read a species rule in its current version."""
    view = species_rules.get_rule(context, caller, rule_id)
    etag = document_etag("species_rule", rule_id, view.record.version, view.record.updated_at)
    return answer_document(request, etag, lambda: write_rule(view))
