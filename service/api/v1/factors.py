"""Route of factors."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.factors import FactorList, write_factors
from service.usecases import factors

router = APIRouter(tags=["species-rules"], route_class=StrictRoute)


@router.get(
    "/factors",
    operation_id="list_factors",
    summary="List factors",
    response_model=FactorList,
    responses=declare(),
)
def list_factors() -> Response:
    """Every factor that a timeline holds and a rule may name, with unit, meaning and provenance."""
    return answer(write_factors(factors.list_factors()))
