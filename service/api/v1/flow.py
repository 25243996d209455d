"""Routes of the run of the tide."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, SpanDep, StationId, StationIds, StepDep, VersionQuery, ZoneDep
from service.api.media import answer
from service.api.negotiation import COVERAGEJSON, CSV, JSON, NETCDF, negotiated, offer, write_series
from service.api.v1.schemas.flow import CSV_EXAMPLE, Flow, FlowOfMany, export_flow, write_flow, write_flow_of_many
from service.errors import DocumentInvalid
from service.usecases import flow
from tidecore.errors import Fault
from tidecore.flow import SlackLags

router = APIRouter(tags=["tide"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV, COVERAGEJSON, NETCDF))]
Lag = Annotated[
    float | None,
    Query(ge=-240.0, le=240.0, allow_inf_nan=False, description="Minutes after it at which the stream turns."),
]
_RESPONSES = offer(CSV_EXAMPLE, COVERAGEJSON, NETCDF) | declare(
    "not-found", "no-model", "invalid-span", "too-many-points", "invalid-input", "model-unreadable", "not-acceptable"
)


@router.get(
    "/flow",
    operation_id="get_flow_of_many",
    summary="Run of the tide at many stations",
    response_model=FlowOfMany,
    responses=_RESPONSES,
)
def get_flow_of_many(
    request: Request,
    station_id: StationIds,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
) -> Response:
    """Flow index at many stations in one call, each with its current version: a proxy from the rate of rise."""
    basis = flow.find_flow_basis(context, caller, station_id, span, step, None, None)

    def write() -> Response:
        series = flow.predict_flow(basis)
        if form == JSON:
            return answer(write_flow_of_many(series, zone))
        return write_series(form, export_flow(series), zone)

    return answer_series(request, basis, form, zone, write)


@router.get(
    "/stations/{station_id}/flow",
    operation_id="get_flow",
    summary="Run of the tide at a station",
    response_model=Flow,
    responses=_RESPONSES,
)
def get_flow(
    request: Request,
    station_id: StationId,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    form: FormDep,
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
    basis = flow.find_flow_basis(context, caller, [station_id], span, step, version, lags)

    def write() -> Response:
        series = flow.predict_flow(basis)
        if form == JSON:
            return answer(write_flow(series, zone))
        return write_series(form, export_flow(series), zone)

    return answer_series(request, basis, form, zone, write)
