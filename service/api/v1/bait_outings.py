"""Route of the search for bait outings."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.bait_outings import BaitOutings, BaitSearch, write_bait_outings
from service.security import READ
from service.usecases import bait_outings
from service.usecases.stations import check_zone
from tidecore import NUMERICS

router = APIRouter(prefix="/bait-outings", tags=["sessions"], route_class=StrictRoute)


@router.post(
    "/search",
    operation_id="search_bait_outings",
    summary="Search bait outings",
    response_model=BaitOutings,
    responses=declare(
        "not-found",
        "no-model",
        "invalid-span",
        "span-too-long",
        "search-too-large",
        "outside-ephemeris",
        "model-unreadable",
        document=True,
    ),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)
def search_bait_outings(body: BaitSearch, caller: CallerDep, context: ContextDep) -> Response:
    """Find low waters below a level, in daylight, to gather bait: over a span, or in the days before a session."""
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    result = bait_outings.search_bait_outings(context, caller, body.question())
    return answer(write_bait_outings(result, body.below_m, body.limit, NUMERICS, zone))
