"""Route of plans of pegs."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.peg_plans import PegPlanSchema, PegQuestionSchema, write_peg_plan
from service.security import READ
from service.usecases.peg_plans import find_peg_plan
from service.usecases.stations import check_zone
from tidecore import NUMERICS

router = APIRouter(prefix="/sessions", tags=["sessions"], route_class=StrictRoute)


@router.post(
    "/peg-plan",
    operation_id="plan_pegs",
    summary="Where to set up and when to move",
    response_model=PegPlanSchema,
    responses=declare("not-found", "no-model", "invalid-span", "outside-ephemeris", "model-unreadable", document=True),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)
def plan_pegs(body: PegQuestionSchema, caller: CallerDep, context: ContextDep) -> Response:
    """Say where to set up at a mark and when to move, up with the flood and down with the ebb, in metres and minutes.

    No peg is on ground that the largest run-up of the session and 0.38 m on it reaches, nor has water behind it. What
    is not known is named; without ground, datum or sea there is no plan.
    """
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    return answer(write_peg_plan(find_peg_plan(context, caller, body.question()), NUMERICS, zone))
