"""Routes of official warnings."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, OfArea, OfMark, WarningId
from service.api.editing import EDIT, ONCE, IdempotencyKey, IfMatch, IfMatchDep, gone, respond, written
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.told import TextBody, once_of_body, receive
from service.api.v1.schemas.official_warnings import (
    CAP_EXAMPLE,
    OfficialWarning,
    WarningList,
    WarningsKept,
    write_kept,
    write_warning,
    write_warnings,
)
from service.usecases.official_warnings import WARNINGS, KeptWarnings, take_warnings
from service.usecases.once import Answered, Once
from service.usecases.placed import ONLY_VERSION, Place
from service.usecases.records import WarningRecord
from tidecore.conditions import read_cap

router = APIRouter(prefix="/warnings", tags=["conditions"], route_class=StrictRoute)

CAP_TYPES = ("application/cap+xml", "application/xml")
_XML = {"schema": {"type": "string", "format": "binary"}, "example": CAP_EXAMPLE}
_ALERT: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "One alert of the Common Alerting Protocol 1.2, as it came.",
        "content": dict.fromkeys(CAP_TYPES, _XML),
    }
}
_Body = Annotated[TextBody, Depends(receive(*CAP_TYPES))]


#: How the very same once more is answered.
_THERE_ALREADY: dict[int | str, dict[str, Any]] = {200: {"description": "It is there already.", "model": WarningsKept}}


async def _once_of(request: Request, body: _Body, idempotency_key: IdempotencyKey = None) -> Once:
    return once_of_body(request, body, idempotency_key)


@router.post(
    "",
    operation_id="create_warning",
    summary="Give an official warning",
    status_code=201,
    response_model=WarningsKept,
    responses=_THERE_ALREADY
    | declare(
        "not-found",
        "invalid-input",
        "body-too-large",
        "media-not-supported",
        "record-unreadable",
        "issue-taken",
        "store-conflict",
        *ONCE,
    ),
    openapi_extra=_ALERT,
)
def create_warning(
    body: _Body,
    caller: CallerDep,
    context: ContextDep,
    once: Annotated[Once, Depends(_once_of)],
    mark_id: OfMark = None,
    area: OfArea = None,
) -> Response:
    """Give a warning for a mark, for an area, or for every mark that lies in the areas that the alert draws.

    Where an alert draws areas, it holds inside them alone, wherever it was given. Updates and cancellations are
    alerts too, and are given as their first one was. The same alert once more is answered with the one that is there.
    """
    place, warnings = Place(mark_id, area), read_cap(body.raw)
    return respond(once.run(context, caller, lambda keep: take_warnings(context, caller, place, warnings, keep), _kept))


@router.get(
    "",
    operation_id="list_warnings",
    summary="List official warnings",
    response_model=WarningList,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_warnings(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    mark_id: OfMark = None,
    area: OfArea = None,
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """List the official warnings that are kept, in the order in which they were given."""
    after = read_cursor("warnings", cursor)
    page = WARNINGS.page(context, caller, Place(mark_id, area), after, check_limit(request, limit))
    return answer(write_warnings(page, write_cursor("warnings", page.after)))


@router.get(
    "/{warning_id}",
    operation_id="get_warning",
    summary="Read an official warning",
    response_model=OfficialWarning,
    responses=declare_conditional() | declare("not-found"),
)
def get_warning(request: Request, warning_id: WarningId, caller: CallerDep, context: ContextDep) -> Response:
    """Read an official warning."""
    view = WARNINGS.get(context, caller, warning_id)
    return answer_document(request, _etag(view.record), lambda: write_warning(view))


@router.delete(
    "/{warning_id}",
    operation_id="delete_warning",
    summary="Delete an official warning",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_warning(warning_id: WarningId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete an official warning; an alert that it cancelled or replaced is in force again."""
    WARNINGS.remove(context, caller, warning_id, _expected(if_match))
    return gone()


def _etag(record: WarningRecord) -> str:
    return document_etag("warning", record.id, ONLY_VERSION, record.created_at)


def _expected(if_match: IfMatch) -> Callable[[WarningRecord], bool]:
    return lambda record: if_match.allows(_etag(record))


def _kept(kept: KeptWarnings) -> Answered:
    first = kept[0].view.record
    headers = {"Location": f"/v1/warnings/{first.id}", "ETag": _etag(first)} if len(kept) == 1 else {}
    return written(write_kept(kept), 201 if any(one.made for one in kept) else 200, headers)
