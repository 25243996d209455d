"""Route of constituents."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, StationId, VersionQuery
from service.api.media import answer
from service.api.negotiation import CSV, JSON, negotiated, offer, write_table
from service.api.v1.schemas.constituents import CSV_EXAMPLE, Constituents, export_constituents, write_constituents
from service.usecases import constituents

router = APIRouter(tags=["tide"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV))]


@router.get(
    "/stations/{station_id}/constituents",
    operation_id="get_constituents",
    summary="Constituents of a station",
    response_model=Constituents,
    responses=offer(CSV_EXAMPLE) | declare("not-found", "no-model", "model-unreadable", "not-acceptable"),
)
def get_constituents(
    request: Request,
    station_id: StationId,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    version: VersionQuery = None,
) -> Response:
    """Amplitudes and Greenwich phase lags of a station's tide model, largest first."""
    basis = constituents.find_constituents_basis(context, caller, station_id, version)

    def write() -> Response:
        if form == JSON:
            return answer(write_constituents(basis.served))
        return write_table(export_constituents(basis.served), None)

    return answer_series(request, basis, form, None, write)
