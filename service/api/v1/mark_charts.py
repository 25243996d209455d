"""Route of charts of a mark."""

from __future__ import annotations

import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId
from service.api.negotiation import PNG, SVG, negotiated, offer_only, write_chart
from service.api.v1.schemas.mark_charts import draw_chart
from service.exports.mark_chart import rasterised
from service.exports.mark_chart.look import ThemeName
from service.usecases import mark_charts
from service.usecases.mark_charts import ChartKind

router = APIRouter(tags=["marks"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(SVG, PNG))]


@router.get(
    "/marks/{mark_id}/chart",
    operation_id="get_mark_chart",
    summary="Chart of a mark",
    response_class=Response,
    responses=offer_only(SVG, PNG)
    | declare(
        "not-found",
        "no-model",
        "invalid-span",
        "span-too-long",
        "search-too-large",
        "outside-ephemeris",
        "model-unreadable",
        "not-acceptable",
        "no-fonts",
    ),
)
def get_mark_chart(
    request: Request,
    mark_id: MarkId,
    date: Annotated[
        datetime.date,
        Query(description="A date by the clocks of the mark: the day, the first of seven, or one of the month."),
    ],
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    kind: Annotated[ChartKind, Query(description="How much is drawn.")] = "day",
    theme: Annotated[ThemeName, Query(description="Ink on paper, or light on dark.")] = "light",
    rule_id: Annotated[
        list[Annotated[str, Query(max_length=64)]] | None,
        Query(min_length=1, max_length=100, description="Ids of species rules; all of the account's unless given."),
    ] = None,
) -> Response:
    """Draw a day, a week or a month at a mark: tide, light, stream, windows, the best sessions and their hazards.

    SVG, or PNG with `Accept: image/png`. Nothing is told by colour alone. Not for navigation.
    """
    basis = mark_charts.find_chart_basis(context, caller, mark_id, kind, date, rule_id)

    def write() -> Response:
        chart = draw_chart(mark_charts.build_chart(basis), theme)
        return write_chart(chart if form == SVG else rasterised(chart))

    return answer_series(request, basis.of_theme(theme), form, None, write)
