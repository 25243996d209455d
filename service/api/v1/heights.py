"""Routes of heights."""

from __future__ import annotations

import zoneinfo
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import (
    CallerDep,
    ContextDep,
    DatumQuery,
    IntervalDep,
    SpanDep,
    StationId,
    StationIds,
    StepDep,
    SurenessDep,
    VersionQuery,
    ZoneDep,
)
from service.api.media import answer
from service.api.negotiation import COVERAGEJSON, CSV, JSON, NETCDF, negotiated, offer, write_series
from service.api.v1.schemas.heights import CSV_EXAMPLE, Heights, export_heights, write_heights
from service.usecases import heights

router = APIRouter(tags=["tide"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV, COVERAGEJSON, NETCDF))]
_RESPONSES = offer(CSV_EXAMPLE, COVERAGEJSON, NETCDF) | declare(
    "not-found", "no-model", "invalid-span", "too-many-points", "invalid-input", "datum-unknown", "datums-unreliable",
    "model-unreadable", "not-acceptable",
)  # fmt: skip


@router.get(
    "/heights",
    operation_id="get_heights_of_many",
    summary="Heights at many stations",
    response_model=Heights,
    responses=_RESPONSES,
)
def get_heights_of_many(
    request: Request,
    station_id: StationIds,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    asked: IntervalDep,
    datum: DatumQuery = None,
) -> Response:
    """Heights of the tide at many stations in one call, each with its current version."""
    basis = heights.find_height_basis(context, caller, station_id, span, step, None, datum, asked)
    return answer_series(request, basis, form, zone, lambda: _write(basis, form, zone))


@router.get(
    "/stations/{station_id}/heights",
    operation_id="get_heights",
    summary="Heights at a station",
    response_model=Heights,
    responses=_RESPONSES,
)
def get_heights(
    request: Request,
    station_id: StationId,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    asked: SurenessDep,
    version: VersionQuery = None,
    datum: DatumQuery = None,
) -> Response:
    """Heights of the tide at one station, from the start of the span every step."""
    basis = heights.find_height_basis(context, caller, [station_id], span, step, version, datum, asked)
    return answer_series(request, basis, form, zone, lambda: _write(basis, form, zone))


def _write(basis: heights.HeightBasis, form: str, zone: zoneinfo.ZoneInfo | None) -> Response:
    series = heights.predict_heights(basis)
    if form == JSON:
        return answer(write_heights(series, zone))
    return write_series(form, export_heights(series), zone)
