"""Route of tidal datums."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, OpenSpanDep, StationId, VersionQuery, ZoneDep
from service.api.media import answer
from service.api.negotiation import CSV, JSON, negotiated, offer, write_table
from service.api.v1.schemas.datums import CSV_EXAMPLE, Datums, export_datums, write_datums
from service.usecases import datums

router = APIRouter(tags=["tide"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV))]
ShortRecord = Annotated[
    bool, Query(description="Also for a model that was fitted to less than a year: the answer is then flagged.")
]


@router.get(
    "/stations/{station_id}/datums",
    operation_id="get_datums",
    summary="Tidal datums of a station",
    response_model=Datums,
    responses=offer(CSV_EXAMPLE)
    | declare(
        "not-found",
        "no-model",
        "invalid-span",
        "span-too-long",
        "datums-unreliable",
        "model-unreadable",
        "not-acceptable",
    ),
)
def get_datums(
    request: Request,
    station_id: StationId,
    span: OpenSpanDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionQuery = None,
    short_record: ShortRecord = False,
) -> Response:
    """Mean and extreme high and low waters, over the 6,798 days from 2001-01-01 or a span of 18.6 years or more."""
    basis = datums.find_datums_basis(context, caller, station_id, span, version, short_record=short_record)

    def write() -> Response:
        found = datums.compute_datums(context, basis)
        if form == JSON:
            return answer(write_datums(basis.served, found, zone))
        return write_table(export_datums(basis.served, found), zone)

    return answer_series(request, basis, form, zone, write)
