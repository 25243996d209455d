"""Routes that read the record of a trip: what the rules on file say of it, and what to do with two of its rods."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, TripId, ZoneDep
from service.api.instants import Instant
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.trip_regulations import TripRegulations, write_trip_regulations
from service.api.v1.schemas.two_rods import TripTwoRods, write_trip_two_rods
from service.usecases.trip_regulations import judge_trip
from service.usecases.two_rods import compare_rods_of_trip
from tidecore.catchstats.two_rods import Hindrance
from tidecore.place import Name

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


@router.get(
    "/{trip_id}/two-rods",
    operation_id="advise_two_rods_of_trip",
    summary="What to do with two rods of a trip",
    response_model=TripTwoRods,
    responses=declare("not-found"),
)
def advise_two_rods_of_trip(
    trip_id: TripId,
    zone: ZoneDep,
    caller: CallerDep,
    context: ContextDep,
    rod: Annotated[
        list[Name] | None, Query(max_length=2, description="Two rods of the trip; those it has, where these are two.")
    ] = None,
    at: Annotated[
        Instant | None,
        Query(description="When it is asked; the end of the trip, or the clock's time while it has none."),
    ] = None,
    hindrance: Annotated[
        list[Hindrance] | None, Query(max_length=3, description="What makes two rods too many.")
    ] = None,
) -> Response:
    """Say what to do with two rods, by the casts, fish, bites and changes on record up to an instant, as `POST
    /v1/two-rods` does by those that are sent; what the record leaves open is in `remarks`."""
    view = compare_rods_of_trip(context, caller, trip_id, rod, at, tuple(hindrance or ()))
    return answer(write_trip_two_rods(view, zone))
