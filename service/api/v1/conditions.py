"""Routes of conditions: forecasts and observations of sea and air."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ConditionId, ContextDep, OfArea, OfMark
from service.api.editing import EDIT, ONCE, IdempotencyKey, IfMatch, IfMatchDep, gone, respond, written
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.told import TextBody, once_of_body, receive
from service.api.v1.schemas.conditions import (
    CSV_BODY_EXAMPLE,
    Condition,
    ConditionList,
    ConditionQuery,
    ConditionsKept,
    create_schema,
    read_issues,
    write_condition,
    write_conditions,
    write_kept,
)
from service.usecases.condition_issues import CONDITIONS, KeptIssues, take_conditions
from service.usecases.once import Answered, Once
from service.usecases.placed import ONLY_VERSION, Place
from service.usecases.records import ConditionRecord

router = APIRouter(prefix="/conditions", tags=["conditions"], route_class=StrictRoute)

JSON, CSV, NETCDF = "application/json", "text/csv", ("application/x-netcdf", "application/netcdf")
_BINARY = {"schema": {"type": "string", "format": "binary"}}
_ISSUE: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "An issue of conditions. JSON says all of it; with CSV and NetCDF the parameters say what the "
        "body does not.",
        "content": {
            JSON: {"schema": create_schema()},
            CSV: {**_BINARY, "example": CSV_BODY_EXAMPLE},
            **{one: _BINARY for one in NETCDF},
        },
    }
}
_Body = Annotated[TextBody, Depends(receive(JSON, CSV, *NETCDF))]


#: How the very same once more is answered.
_THERE_ALREADY: dict[int | str, dict[str, Any]] = {
    200: {"description": "It is there already.", "model": ConditionsKept}
}


async def _once_of(request: Request, body: _Body, idempotency_key: IdempotencyKey = None) -> Once:
    return once_of_body(request, body, idempotency_key)


@router.post(
    "",
    operation_id="create_condition",
    summary="Give conditions",
    status_code=201,
    response_model=ConditionsKept,
    responses=_THERE_ALREADY | declare(
        "not-found", "invalid-input", "too-many-values", "body-too-large", "body-unreadable", "media-not-supported",
        "record-unreadable", "issue-taken", "store-conflict", *ONCE,
    ),
    openapi_extra=_ISSUE,
)  # fmt: skip
def create_condition(
    body: _Body,
    query: Annotated[ConditionQuery, Query()],
    caller: CallerDep,
    context: ContextDep,
    once: Annotated[Once, Depends(_once_of)],
) -> Response:
    """Give a forecast or observations for a mark, or for an area that marks name as theirs.

    Issues are kept beside each other, and the newest that holds is used. The very same once more is answered with
    the one that is there. Of more than are kept of a place the oldest are deleted.
    """
    place, issues = read_issues(query, body.media_type, body.raw, body.document)
    return respond(once.run(context, caller, lambda keep: take_conditions(context, caller, place, issues, keep), _kept))


@router.get(
    "",
    operation_id="list_conditions",
    summary="List conditions",
    response_model=ConditionList,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_conditions(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    mark_id: OfMark = None,
    area: OfArea = None,
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """List the issues of conditions that are kept, without their values, in the order in which they were given."""
    after = read_cursor("conditions", cursor)
    page = CONDITIONS.page(context, caller, Place(mark_id, area), after, check_limit(request, limit))
    return answer(write_conditions(page, write_cursor("conditions", page.after)))


@router.get(
    "/{condition_id}",
    operation_id="get_condition",
    summary="Read an issue of conditions",
    response_model=Condition,
    responses=declare_conditional() | declare("not-found"),
)
def get_condition(request: Request, condition_id: ConditionId, caller: CallerDep, context: ContextDep) -> Response:
    """Read an issue of conditions with its values."""
    view = CONDITIONS.get(context, caller, condition_id)
    return answer_document(request, _etag(view.record), lambda: write_condition(view))


@router.delete(
    "/{condition_id}",
    operation_id="delete_condition",
    summary="Delete an issue of conditions",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_condition(
    condition_id: ConditionId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Delete an issue of conditions; what it said is then said by older ones, or is unknown."""
    CONDITIONS.remove(context, caller, condition_id, _expected(if_match))
    return gone()


def _etag(record: ConditionRecord) -> str:
    return document_etag("condition", record.id, ONLY_VERSION, record.created_at)


def _expected(if_match: IfMatch) -> Callable[[ConditionRecord], bool]:
    return lambda record: if_match.allows(_etag(record))


def _kept(kept: KeptIssues) -> Answered:
    first = kept[0].view.record
    headers = {"Location": f"/v1/conditions/{first.id}", "ETag": _etag(first)} if len(kept) == 1 else {}
    return written(write_kept(kept), 201 if any(one.made for one in kept) else 200, headers)
