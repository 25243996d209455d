"""Routes of high and low waters."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
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
    SurenessDep,
    VersionQuery,
    ZoneDep,
)
from service.api.media import answer
from service.api.negotiation import COVERAGEJSON, CSV, JSON, negotiated, offer, write_series
from service.api.v1.schemas.extremes import (
    CSV_EXAMPLE,
    Extremes,
    ExtremesOfMany,
    export_extremes,
    write_extremes,
    write_extremes_of_many,
)
from service.usecases import extremes

router = APIRouter(tags=["tide"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV, COVERAGEJSON))]
Secondary = Annotated[bool, Query(description="With the lesser extremes merged with others.")]
_RESPONSES = offer(CSV_EXAMPLE, COVERAGEJSON) | declare(
    "not-found", "no-model", "invalid-span", "span-too-long", "invalid-input", "datum-unknown", "datums-unreliable",
    "model-unreadable", "not-acceptable",
)  # fmt: skip


@router.get(
    "/extremes",
    operation_id="get_extremes_of_many",
    summary="High and low waters at many stations",
    response_model=ExtremesOfMany,
    responses=_RESPONSES,
)
def get_extremes_of_many(
    request: Request,
    station_id: StationIds,
    span: SpanDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    asked: IntervalDep,
    secondary: Secondary = True,
    datum: DatumQuery = None,
) -> Response:
    """High and low waters at many stations in one call, each with its current version."""
    basis = extremes.find_extremes_basis(
        context, caller, station_id, span, None, secondary=secondary, datum=datum, sureness=asked
    )

    def write() -> Response:
        views = extremes.find_station_extremes(basis)
        if form == JSON:
            return answer(write_extremes_of_many(views, zone))
        return write_series(form, export_extremes(views, span), zone)

    return answer_series(request, basis, form, zone, write)


@router.get(
    "/stations/{station_id}/extremes",
    operation_id="get_extremes",
    summary="High and low waters at a station",
    response_model=Extremes,
    responses=_RESPONSES,
)
def get_extremes(
    request: Request,
    station_id: StationId,
    span: SpanDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    asked: SurenessDep,
    version: VersionQuery = None,
    secondary: Secondary = True,
    datum: DatumQuery = None,
) -> Response:
    """High and low waters in the span, each with what it is."""
    basis = extremes.find_extremes_basis(
        context, caller, [station_id], span, version, secondary=secondary, datum=datum, sureness=asked
    )

    def write() -> Response:
        views = extremes.find_station_extremes(basis)
        if form == JSON:
            return answer(write_extremes(views[0], zone))
        return write_series(form, export_extremes(views, span), zone)

    return answer_series(request, basis, form, zone, write)
