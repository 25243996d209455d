"""Route of charts of a mark of a plan."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_form, parts_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, PlanId
from service.api.negotiation import PNG, SVG, negotiated, offer_only, write_chart
from service.api.repeated import RepeatedRoute
from service.api.v1.schemas.plan_charts import draw_plan_chart
from service.exports.mark_chart import rasterised
from service.exports.mark_chart.look import ThemeName
from service.usecases import plan_charts
from service.usecases.mark_charts import ChartKind

router = APIRouter(prefix="/plans", tags=["plans"], route_class=RepeatedRoute)


@router.get(
    "/{plan_id}/marks/{mark_id}/chart",
    operation_id="get_plan_chart",
    summary="Chart of a mark of a plan",
    response_class=Response,
    responses=offer_only(SVG, PNG)
    | declare("not-found", "invalid-input", "outside-ephemeris", "model-unreadable", "not-acceptable", "no-fonts"),
)
def get_plan_chart(
    request: Request,
    plan_id: PlanId,
    mark_id: MarkId,
    form: Annotated[str, Depends(negotiated(SVG, PNG))],
    caller: CallerDep,
    context: ContextDep,
    kind: Annotated[ChartKind, Query(description="How much is drawn.")] = "month",
    date: Annotated[
        datetime.date | None,
        Query(
            description="A date by the clocks of the mark, as for its own chart; the start of the plan unless given."
        ),
    ] = None,
    theme: Annotated[ThemeName, Query(description="Ink on paper, or light on dark.")] = "light",
) -> Response:
    """Draw the stored sessions of one mark on its tide: a month, a week or a day, as SVG or as PNG.

    Mark, tide and rules are those of the plan, in its versions, so that a chart stays as it is. Not for navigation.
    """
    basis = plan_charts.find_plan_drawing(context, caller, plan_id, mark_id, kind, date)

    def write() -> Response:
        chart = draw_plan_chart(plan_charts.read_plan_drawing(context, caller, basis), theme)
        return write_chart(chart if form == SVG else rasterised(chart))

    return answer_form(request, parts_etag("plan-chart", form, theme, *basis.parts()), write)
