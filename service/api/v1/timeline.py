"""Route of timelines."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, SpanDep, StepDep, VersionQuery, ZoneDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.timeline import Timeline, write_timeline
from service.usecases import timeline

router = APIRouter(tags=["marks"], route_class=StrictRoute)


@router.get(
    "/marks/{mark_id}/timeline",
    operation_id="get_timeline",
    summary="Timeline of a mark",
    response_model=Timeline,
    responses=declare(
        "not-found",
        "no-model",
        "invalid-span",
        "span-too-long",
        "too-many-points",
        "outside-ephemeris",
        "invalid-input",
        "model-unreadable",
    ),
)
def get_timeline(
    mark_id: MarkId,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionQuery = None,
    factor: Annotated[
        list[Annotated[str, Query(max_length=80)]] | None,
        Query(
            min_length=1, max_length=200, description="Names of factors, as /v1/factors lists them; all unless given."
        ),
    ] = None,
) -> Response:
    """Chosen factors of a mark as columns, at whole multiples of the step since 1970."""
    view = timeline.build_mark_timeline(context, caller, mark_id, span, step, factor, version)
    return answer(write_timeline(view, zone))
