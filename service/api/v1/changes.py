"""Route of the list of changes."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep
from service.api.media import StrictRoute, answer
from service.api.paging import Limit, check_limit, read_place, write_place
from service.api.v1.schemas.changes import ChangeList, write_changes
from service.usecases import changes

router = APIRouter(prefix="/changes", tags=["changes"], route_class=StrictRoute)


@router.get(
    "",
    operation_id="list_changes",
    summary="List what changed",
    response_model=ChangeList,
    responses=declare("cursor-invalid", "cursor-gone", "invalid-input"),
)
def list_changes(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    after: Annotated[
        str | None,
        Query(max_length=100, description="`next_after` of the answer before; everything from the start without it."),
    ] = None,
    limit: Limit = 100,
) -> Response:
    """List what changed since, in the order of commits, each thing once with its latest change, deletions too."""
    number = read_place(caller.account_id, after)
    page = changes.list_changes(context, caller, number, check_limit(request, limit))
    return answer(write_changes(page, write_place(caller.account_id, page.after)))
