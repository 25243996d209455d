"""Route of water levels: the tide, and the surge that is given as a series."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep, StationId
from service.api.media import StrictRoute, answer
from service.api.negotiation import JSON, negotiated
from service.api.v1.schemas.water_levels import WaterLevelQuestion, WaterLevelSeries, write_water_levels
from service.security import READ
from service.usecases.stations import check_zone
from service.usecases.water_levels import find_water_levels

router = APIRouter(tags=["tide"], route_class=StrictRoute)


@router.post(
    "/stations/{station_id}/water-levels",
    operation_id="compute_water_levels",
    summary="Water levels with a surge that is given",
    response_model=WaterLevelSeries,
    responses=declare(
        "not-found", "no-model", "invalid-span", "too-many-points", "invalid-input", "datum-unknown",
        "datums-unreliable", "model-unreadable", "not-acceptable", document=True,
    ),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)  # fmt: skip
def compute_water_levels(
    station_id: StationId,
    body: WaterLevelQuestion,
    form: Annotated[str, Depends(negotiated(JSON))],
    caller: CallerDep,
    context: ContextDep,
) -> Response:
    """Heights of the tide at a station, with surge or air pressure over time, and how sure the level is.

    Nothing of it is kept. Tide and surge are shown apart; estimates, not for navigation.
    """
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    return answer(write_water_levels(find_water_levels(context, caller, station_id, body.to_question()), zone))
