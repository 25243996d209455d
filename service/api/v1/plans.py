"""Routes of plans."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, parts_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, PlanId
from service.api.editing import EDIT, ONCE, IfMatch, IfMatchDep, OnceDep, gone, respond, written
from service.api.media import answer
from service.api.paging import (
    Cursor,
    Limit,
    check_limit,
    read_cursor,
    read_row_place,
    write_cursor,
    write_row_place,
)
from service.api.repeated import RepeatedRoute
from service.api.v1.schemas.common import RETRY_AFTER, retry_after
from service.api.v1.schemas.planned import (
    PlanChanges,
    PlannedMarks,
    PlannedMarkSchema,
    PlannedSessions,
    write_changes,
    write_mark,
    write_marks,
    write_sessions,
)
from service.api.v1.schemas.plans import Plan, PlanCreate, PlanList, write_plan, write_plans
from service.usecases import plans
from service.usecases.once import Answered
from service.usecases.plan_ranking import Order
from service.usecases.plans import PlanView
from service.usecases.records import PlanRecord

# Plans are large and seldom change: what was just read is answered again without a look at the store.
router = APIRouter(prefix="/plans", tags=["plans"], route_class=RepeatedRoute)

_SERIES = Query(min_length=1, max_length=100, description="Only plans of this series, as they were called.")
_ORDER = Query(description="By what each is worth, or by time.")


@router.post(
    "",
    operation_id="create_plan",
    summary="Ask for a plan",
    status_code=202,
    response_model=Plan,
    responses={
        **declare(
            "not-found", "invalid-span", "span-too-long", "search-too-large", "too-many-jobs", "store-conflict", *ONCE,
            document=True,
        ),
        202: RETRY_AFTER,
    },
)  # fmt: skip
def create_plan(body: PlanCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Have the sessions of a month at many marks computed and kept; the answer comes at once, and its Location says
    how the plan fares.

    Marks whose inputs are as in another plan are taken over from it. A mark that fails stops no other. The same asked
    again while it waits or runs is answered with that plan. Its job cancels it.
    """
    request = body.request()
    return respond(once.run(context, caller, lambda keep: plans.request_plan(context, caller, request, keep), _taken))


@router.get(
    "",
    operation_id="list_plans",
    summary="List plans",
    response_model=PlanList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_plans(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    series: Annotated[str | None, _SERIES] = None,
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """List the plans of the account in the order they were asked for, a page at a time."""
    page = plans.list_plans(context, caller, series, read_cursor("plans", cursor), check_limit(request, limit))
    return answer(write_plans(page, write_cursor("plans", page.after)))


@router.get(
    "/{plan_id}",
    operation_id="get_plan",
    summary="Read a plan",
    response_model=Plan,
    responses=declare_conditional() | declare("not-found"),
)
def get_plan(request: Request, plan_id: PlanId, caller: CallerDep, context: ContextDep) -> Response:
    """Read what was asked, the state of a plan, how its marks fared so far, and what it rests on."""
    view = plans.get_plan(context, caller, plan_id)
    response = answer_document(request, _etag(view.record), lambda: write_plan(view))
    response.headers.update(retry_after(view.record.state))
    return response


@router.get(
    "/{plan_id}/sessions",
    operation_id="list_plan_sessions",
    summary="Read the sessions of a plan",
    response_model=PlannedSessions,
    responses=declare_conditional() | declare("not-found", "plan-not-done", "cursor-invalid", "invalid-input"),
)
def list_plan_sessions(
    request: Request,
    plan_id: PlanId,
    caller: CallerDep,
    context: ContextDep,
    order: Annotated[Order, _ORDER] = "worth",
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """Read the sessions of all marks of a plan that is done, in one order, a page at a time."""
    most, place = check_limit(request, limit), f"{plan_id}.{order}"
    start = read_row_place(place, cursor)
    page = plans.list_sessions(context, caller, plan_id, order, start, most)
    etag = parts_etag("plan-sessions", plan_id, page.plan.stamp.isoformat(), order, start, most)
    return answer_document(request, etag, lambda: write_sessions(page, order, write_row_place(place, page.after)))


@router.get(
    "/{plan_id}/marks",
    operation_id="list_plan_marks",
    summary="List the marks of a plan",
    response_model=PlannedMarks,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_plan_marks(
    request: Request, plan_id: PlanId, caller: CallerDep, context: ContextDep, cursor: Cursor = None, limit: Limit = 100
) -> Response:
    """List the marks of a plan that are done so far: how each fared, or why it failed."""
    most, kind = check_limit(request, limit), f"marks:{plan_id}"
    plan, page = plans.list_marks(context, caller, plan_id, read_cursor(kind, cursor), most)
    return answer(write_marks(plan, page, write_cursor(kind, page.after)))


@router.get(
    "/{plan_id}/marks/{mark_id}",
    operation_id="get_plan_mark",
    summary="Read a mark of a plan",
    response_model=PlannedMarkSchema,
    responses=declare_conditional() | declare("not-found"),
)
def get_plan_mark(
    request: Request, plan_id: PlanId, mark_id: MarkId, caller: CallerDep, context: ContextDep
) -> Response:
    """Read all sessions of one mark of a plan in time order, and what they rest on; there as soon as it is done."""
    found = plans.get_mark(context, caller, plan_id, mark_id)
    record = found.record
    etag = parts_etag("plan-mark", plan_id, mark_id, record.input_hash, record.computed_at.isoformat())
    return answer_document(request, etag, lambda: write_mark(found))


@router.get(
    "/{plan_id}/changes",
    operation_id="list_plan_changes",
    summary="Read what is other than in the plan before",
    response_model=PlanChanges,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_plan_changes(
    request: Request, plan_id: PlanId, caller: CallerDep, context: ContextDep, cursor: Cursor = None, limit: Limit = 100
) -> Response:
    """Read which sessions are new, gone, moved, rescored or of another grade than in the plan that it supersedes."""
    most, kind = check_limit(request, limit), f"changes:{plan_id}"
    plan, page = plans.list_marks(context, caller, plan_id, read_cursor(kind, cursor), most, changed=True)
    return answer(write_changes(plan, page, write_cursor(kind, page.after)))


@router.delete(
    "/{plan_id}",
    operation_id="delete_plan",
    summary="Delete a plan",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", "in-use", *EDIT),
)
def delete_plan(plan_id: PlanId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a plan that has ended, with its results as far as no other plan has them."""
    plans.remove_plan(context, caller, plan_id, _expected(if_match))
    return gone()


def _etag(record: PlanRecord) -> str:
    return parts_etag("plan", record.plan_id, record.stamp.isoformat())


def _expected(if_match: IfMatch) -> Callable[[PlanView], bool]:
    return lambda view: if_match.allows(_etag(view.record))


def _taken(record: PlanRecord) -> Answered:
    headers = {"Location": f"/v1/plans/{record.plan_id}", **retry_after(record.state)}
    return written(write_plan(PlanView(record, plans.NOTHING_DONE)), 202, headers)
