"""Route of what the rules on file say of a trip."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, TripId
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.trip_regulations import TripRegulations, write_trip_regulations
from service.usecases.trip_regulations import judge_trip

router = APIRouter(prefix="/trips", tags=["trips"], route_class=StrictRoute)


@router.get(
    "/{trip_id}/regulations",
    operation_id="get_trip_regulations",
    summary="What the rules on file say of a trip",
    response_model=TripRegulations,
    responses=declare("not-found"),
)
def get_trip_regulations(trip_id: TripId, caller: CallerDep, context: ContextDep) -> Response:
    """Say what the rules on file of the areas of the mark say of what was kept: sizes within the measuring error, bags
    by angler and local day with the other trips of that day, seasons. Silence of the file allows nothing."""
    return answer(write_trip_regulations(judge_trip(context, caller, trip_id)))
