"""Route of conventions of constituents."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.conventions import ConventionList, write_conventions
from service.usecases import conventions

router = APIRouter(tags=["tide"], route_class=StrictRoute)


@router.get(
    "/conventions",
    operation_id="list_conventions",
    summary="List conventions of constituents",
    response_model=ConventionList,
    responses=declare(),
)
def list_conventions() -> Response:
    """Every convention that constituents may be given in, with the names it knows and the arguments they go with."""
    return answer(write_conventions(conventions.list_conventions()))
