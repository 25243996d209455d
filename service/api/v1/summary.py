"""Route of summaries."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, StationId, VersionQuery
from service.api.media import answer
from service.api.negotiation import JSON, SVG, negotiated, offer, write_chart
from service.api.v1.schemas.summary import Summary, export_chart, write_summary
from service.usecases import summary

router = APIRouter(tags=["tide"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, SVG))]


@router.get(
    "/stations/{station_id}/summary",
    operation_id="get_summary",
    summary="Tidal character of a station",
    response_model=Summary,
    responses=offer(None, SVG) | declare("not-found", "no-model", "model-unreadable", "not-acceptable"),
)
def get_summary(
    request: Request,
    station_id: StationId,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionQuery = None,
) -> Response:
    """What kind of tide a station has: type, ranges, age, intervals, double waters, and what the model rests on.

    `Accept: image/svg+xml` asks for it as a chart. Means are over a whole nodal cycle, 6798 days.
    """
    basis = summary.find_summary_basis(context, caller, station_id, version)

    def write() -> Response:
        if form == JSON:
            return answer(write_summary(summary.find_summary(basis)))
        return write_chart(export_chart(*summary.find_chart(basis)))

    return answer_series(request, basis, form, None, write)
