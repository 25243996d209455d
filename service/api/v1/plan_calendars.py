"""Route of the sessions of a plan as a calendar and as a table."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_form, parts_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, PlanId
from service.api.media import StrictRoute
from service.api.negotiation import CSV, ICALENDAR, negotiated, offer, write_file, write_table
from service.api.v1.schemas.plan_calendars import SESSION_SHEET, session_table
from service.api.v1.schemas.sessions import CAUTION
from service.usecases.plan_calendars import Selection, find_calendar, write_calendar

router = APIRouter(prefix="/plans", tags=["plans"], route_class=StrictRoute)

_Ids = list[Annotated[str, Query(max_length=64)]] | None


@router.get(
    "/{plan_id}/calendar",
    operation_id="get_plan_calendar",
    summary="The sessions of a plan as a calendar",
    response_class=Response,
    responses=offer(SESSION_SHEET, ICALENDAR) | declare("not-found", "plan-not-done", "not-acceptable"),
)
def get_plan_calendar(
    request: Request,
    plan_id: PlanId,
    form: Annotated[str, Depends(negotiated(ICALENDAR, CSV))],
    caller: CallerDep,
    context: ContextDep,
    mark_id: Annotated[
        _Ids, Query(min_length=1, max_length=100, description="Of these marks; of all unless given.")
    ] = None,
    rule_id: Annotated[
        _Ids, Query(min_length=1, max_length=100, description="Of which one of these rules gets most.")
    ] = None,
    most: Annotated[int, Query(ge=1, le=1000, description="Most sessions: those of most worth.")] = 200,
) -> Response:
    """Put the sessions of a plan that is done into a calendar, or into a table with `Accept: text/csv`.

    An event goes from arriving to leaving, in UTC, with alarms for leaving home and for turning back. It keeps its UID
    in the plans that follow in the series, with a SEQUENCE that counts changes; sessions that are gone since the plan
    before are told once, as CANCELLED.
    """
    selection = Selection(_ids(mark_id), _ids(rule_id), most=most)
    found = find_calendar(context, caller, plan_id, selection)

    def write() -> Response:
        if form == CSV:
            return write_table(session_table(found), None)
        return write_file(write_calendar(found, "Sessions", CAUTION))

    return answer_form(request, parts_etag("plan-calendar", form, *found.basis()), write)


def _ids(given: list[str] | None) -> tuple[str, ...] | None:
    return None if given is None else tuple(given)
