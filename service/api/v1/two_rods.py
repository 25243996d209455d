"""Routes of two rods side by side: those that are sent, and those of a trip on record."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep, TripId, ZoneDep
from service.api.instants import Instant
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.rate_comparisons import RateComparisonSchema, RateQuestion, write_rate_comparison
from service.api.v1.schemas.two_rods import (
    TripTwoRods,
    TwoRodAnswer,
    TwoRodQuestionBody,
    write_trip_two_rods,
    write_two_rods,
)
from service.security import READ
from service.usecases.stations import check_zone
from service.usecases.two_rods import compare_rods, compare_rods_of_trip
from tidecore.catchstats.two_rods import Hindrance
from tidecore.place import Name

router = APIRouter(tags=["two-rods"], route_class=StrictRoute)


@router.post(
    "/two-rods",
    operation_id="advise_two_rods",
    summary="What to do with two rods now",
    response_model=TwoRodAnswer,
    responses=declare(document=True),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)
def advise_two_rods(body: TwoRodQuestionBody) -> Response:
    """Say whether to leave two rods as they are, to change one thing on one of them, to put both where the fish are, or
    to fish one; with its chance, and what would tell more. Only time with both baits in the water is compared."""
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    return answer(write_two_rods(compare_rods(body.question()), zone))


@router.post(
    "/two-rods/rates",
    operation_id="compare_rates",
    summary="Compare two rates",
    response_model=RateComparisonSchema,
    responses=declare(document=True),
    openapi_extra=needs(READ),
)
def compare_two_rates(body: RateQuestion) -> Response:
    """Compare two counts with their effort, of rods, marks or baits, exactly; where fish come in bursts the limits are
    too narrow."""
    return answer(write_rate_comparison(body.compared()))


@router.get(
    "/trips/{trip_id}/two-rods",
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
