"""Routes of heights."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, SpanDep, StationId, StepDep, VersionQuery, ZoneDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.heights import Heights, write_heights
from service.usecases import heights

router = APIRouter(tags=["tide"], route_class=StrictRoute)

_ERRORS = ("not-found", "no-model", "invalid-span", "too-many-points", "invalid-input", "model-unreadable")


@router.get(
    "/heights",
    operation_id="get_heights_of_many",
    summary="Heights at many stations",
    response_model=Heights,
    responses=declare(*_ERRORS),
)
def get_heights_of_many(
    station_id: Annotated[
        list[Annotated[str, Query(min_length=1, max_length=64)]],
        Query(min_length=1, max_length=1000, description="Ids of stations."),
    ],
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    caller: CallerDep,
    context: ContextDep,
) -> Response:
    """Heights of the tide at many stations in one call, each with its current version."""
    series = heights.predict_heights(context, caller, station_id, span, step, None)
    return answer(write_heights(series, zone))


@router.get(
    "/stations/{station_id}/heights",
    operation_id="get_heights",
    summary="Heights at a station",
    response_model=Heights,
    responses=declare(*_ERRORS),
)
def get_heights(
    station_id: StationId,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionQuery = None,
) -> Response:
    """Heights of the tide at one station, from the start of the span every step."""
    series = heights.predict_heights(context, caller, [station_id], span, step, version)
    return answer(write_heights(series, zone))
