"""Route of high and low waters."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, SpanDep, StationId, VersionQuery, ZoneDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.extremes import Extremes, write_extremes
from service.usecases import extremes

router = APIRouter(tags=["tide"], route_class=StrictRoute)


@router.get(
    "/stations/{station_id}/extremes",
    operation_id="get_extremes",
    summary="High and low waters at a station",
    response_model=Extremes,
    responses=declare("not-found", "no-model", "invalid-span", "span-too-long", "invalid-input", "model-unreadable"),
)
def get_extremes(
    station_id: StationId,
    span: SpanDep,
    zone: ZoneDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionQuery = None,
    secondary: Annotated[bool, Query(description="With the lesser extremes merged with others.")] = True,
) -> Response:
    """High and low waters in the span, each with what it is."""
    view = extremes.find_station_extremes(context, caller, station_id, span, version, secondary=secondary)
    return answer(write_extremes(view, zone))
