"""Route of constituents."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, StationId, VersionQuery
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.constituents import Constituents, write_constituents
from service.usecases import constituents

router = APIRouter(tags=["tide"], route_class=StrictRoute)


@router.get(
    "/stations/{station_id}/constituents",
    operation_id="get_constituents",
    summary="Constituents of a station",
    response_model=Constituents,
    responses=declare("not-found", "no-model", "model-unreadable"),
)
def get_constituents(
    station_id: StationId, caller: CallerDep, context: ContextDep, version: VersionQuery = None
) -> Response:
    """Amplitudes and Greenwich phase lags of a station's tide model, largest first."""
    return answer(write_constituents(constituents.get_constituents(context, caller, station_id, version)))
