"""Route of high and low waters at a mark."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, SpanDep, ZoneDep
from service.api.media import answer
from service.api.negotiation import COVERAGEJSON, CSV, JSON, negotiated, offer, write_series
from service.api.v1.schemas.mark_extremes import CSV_EXAMPLE, MarkExtremes, export_mark_extremes, write_mark_extremes
from service.usecases.mark_extremes import find_mark_extremes, find_mark_extremes_basis

router = APIRouter(tags=["marks"], route_class=SeriesRoute)


@router.get(
    "/marks/{mark_id}/extremes",
    operation_id="get_mark_extremes",
    summary="High and low waters at a mark",
    response_model=MarkExtremes,
    responses=offer(CSV_EXAMPLE, COVERAGEJSON)
    | declare(
        "not-found", "no-model", "invalid-span", "span-too-long", "invalid-input", "model-unreadable", "not-acceptable"
    ),
)
def get_mark_extremes(
    request: Request,
    mark_id: MarkId,
    span: SpanDep,
    zone: ZoneDep,
    form: Annotated[str, Depends(negotiated(JSON, CSV, COVERAGEJSON))],
    caller: CallerDep,
    context: ContextDep,
    secondary: Annotated[bool, Query(description="With the lesser extremes merged with others.")] = True,
) -> Response:
    """High and low waters at a mark in the span: its station's, or by its offsets its own."""
    basis = find_mark_extremes_basis(context, caller, mark_id, span, secondary=secondary)

    def write() -> Response:
        view = find_mark_extremes(basis)
        if form == JSON:
            return answer(write_mark_extremes(view, zone))
        return write_series(form, export_mark_extremes(view), zone)

    return answer_series(request, basis, form, zone, write)
