"""Route of the conditions at a mark."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, SpanDep, StepDep, ZoneDep
from service.api.media import answer
from service.api.negotiation import CSV, JSON, negotiated, offer, write_series
from service.api.v1.schemas.mark_conditions import (
    CSV_EXAMPLE,
    MarkConditions,
    export_mark_conditions,
    write_mark_conditions,
)
from service.usecases.mark_conditions import find_mark_conditions_basis, merge_mark_conditions

router = APIRouter(tags=["conditions"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV))]


@router.get(
    "/marks/{mark_id}/conditions",
    operation_id="get_mark_conditions",
    summary="Conditions at a mark",
    response_model=MarkConditions,
    responses=offer(CSV_EXAMPLE)
    | declare(
        "not-found",
        "no-model",
        "invalid-span",
        "span-too-long",
        "too-many-points",
        "invalid-input",
        "model-unreadable",
        "not-acceptable",
    ),
)
def get_mark_conditions(
    request: Request,
    mark_id: MarkId,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
) -> Response:
    """Sea and air at a mark from all issues of the mark and of its area: at each instant the newest that holds.

    Says which issue each variable rests on, where it is unknown and where it ends, and what follows for the mark.
    """
    basis = find_mark_conditions_basis(context, caller, mark_id, span, step)

    def write() -> Response:
        view = merge_mark_conditions(basis)
        if form == JSON:
            return answer(write_mark_conditions(view, zone))
        return write_series(form, export_mark_conditions(view), zone)

    return answer_series(request, basis, form, zone, write)
