"""Routes of month sheets: a page of HTML of a mark, of a plan or searched for just now."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_form, answer_series, parts_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, PlanId
from service.api.negotiation import HTML, negotiated, offer_only, write_page
from service.api.repeated import RepeatedRoute
from service.api.v1.schemas.month_sheets import write_month_sheet
from service.api.v1.schemas.plans import first_of_month
from service.usecases import mark_charts, plan_charts
from service.usecases.month_sheets import build_month_drawing

router = APIRouter(tags=["plans"], route_class=RepeatedRoute)

FormDep = Annotated[str, Depends(negotiated(HTML))]
_DRAWN = ("outside-ephemeris", "model-unreadable", "not-acceptable")


@router.get(
    "/plans/{plan_id}/marks/{mark_id}/sheet",
    operation_id="get_plan_sheet",
    summary="Month sheet of a mark of a plan",
    response_class=Response,
    responses=offer_only(HTML) | declare("not-found", "invalid-input", *_DRAWN),
)
def get_plan_sheet(
    request: Request,
    plan_id: PlanId,
    mark_id: MarkId,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    month: Annotated[
        str | None, Query(max_length=7, description="A month as 2026-12; that in which the plan begins unless given.")
    ] = None,
) -> Response:
    """Read the stored sessions of one mark in a month on one sheet of HTML, with tide, sun and moon of every day.

    It prints on a page of A4, reads on a phone, light and dark, and needs nothing else. Mark, tide and rules are those
    of the plan. Not for navigation.
    """
    date = None if month is None else first_of_month(month)
    basis = plan_charts.find_plan_drawing(context, caller, plan_id, mark_id, "month", date)

    def write() -> Response:
        return write_page(write_month_sheet(plan_charts.read_plan_drawing(context, caller, basis)))

    return answer_form(request, parts_etag("plan-sheet", form, *basis.parts()), write)


@router.get(
    "/marks/{mark_id}/sheet",
    operation_id="get_mark_sheet",
    summary="Month sheet of a mark",
    response_class=Response,
    responses=offer_only(HTML)
    | declare("not-found", "no-model", "invalid-input", "invalid-span", "span-too-long", "search-too-large", *_DRAWN),
)
def get_mark_sheet(
    request: Request,
    mark_id: MarkId,
    month: Annotated[str, Query(max_length=7, description="A month, as 2026-12.", examples=["2026-12"])],
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    rule_id: Annotated[
        list[Annotated[str, Query(max_length=64)]] | None,
        Query(min_length=1, max_length=100, description="Ids of species rules; all of the account's unless given."),
    ] = None,
) -> Response:
    """Read the best sessions of a month at a mark on one sheet of HTML, as they are found just now.

    As the sheet of a plan, with no way to the mark, all hours free, and whatever is told of the sea at this moment.
    """
    first: datetime.date = first_of_month(month)
    basis = mark_charts.find_chart_basis(context, caller, mark_id, "month", first, rule_id)
    return answer_series(request, basis, form, None, lambda: write_page(write_month_sheet(build_month_drawing(basis))))
