"""Routes of two rods side by side."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.rate_comparisons import RateComparisonSchema, RateQuestion, write_rate_comparison
from service.api.v1.schemas.two_rods import TwoRodAnswer, TwoRodQuestionBody, write_two_rods
from service.security import READ
from service.usecases.stations import check_zone
from service.usecases.two_rods import compare_rods

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
