"""Route of the question why a rule does not hold."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.hazards import facts_of
from service.api.v1.schemas.why_not import WhyNot, WhyNotQuestion, write_why_not
from service.security import READ
from service.usecases.stations import check_zone
from service.usecases.why_not import find_why_not
from tidecore import NUMERICS

router = APIRouter(prefix="/windows", tags=["windows"], route_class=StrictRoute)


@router.post(
    "/why-not",
    operation_id="explain_why_not",
    summary="Why not",
    response_model=WhyNot,
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
def explain_why_not(body: WhyNotQuestion, caller: CallerDep, context: ContextDep) -> Response:
    """Say what stops a rule at a mark at an instant or over a span, by how much, what change would do, and when."""
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    found = find_why_not(
        context, caller, body.mark_id, body.rule_id, body.asked, body.around_days, facts_of(body.outing)
    )
    return answer(write_why_not(found, NUMERICS, zone))
