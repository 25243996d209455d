"""Route of the run of the tide."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, SpanDep, StationId, StepDep, VersionQuery, ZoneDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.flow import Flow, write_flow
from service.errors import DocumentInvalid
from service.usecases import flow
from tidecore.errors import Fault
from tidecore.flow import SlackLags

router = APIRouter(tags=["tide"], route_class=StrictRoute)

Lag = Annotated[
    float | None,
    Query(ge=-240.0, le=240.0, allow_inf_nan=False, description="Minutes after it at which the stream turns."),
]


@router.get(
    "/stations/{station_id}/flow",
    operation_id="get_flow",
    summary="Run of the tide at a station",
    response_model=Flow,
    responses=declare("not-found", "no-model", "invalid-span", "too-many-points", "invalid-input", "model-unreadable"),
)
def get_flow(
    station_id: StationId,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionQuery = None,
    after_hw_min: Lag = None,
    after_lw_min: Lag = None,
) -> Response:
    """Flow index at a station: a proxy from the rate of rise, unless slack lags say when the stream turns."""
    lags = None
    if after_hw_min is not None and after_lw_min is not None:
        lags = SlackLags(after_hw_min, after_lw_min)
    elif after_hw_min is not None or after_lw_min is not None:
        raise DocumentInvalid(Fault("after_hw_min", "and after_lw_min go together", "both, or neither"))
    series = flow.predict_flow(context, caller, station_id, span, step, version, lags)
    return answer(write_flow(series, zone))
