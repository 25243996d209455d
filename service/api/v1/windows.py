"""Route of the window search."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import Response

from service.api.conditional import VARY_SERIES
from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep
from service.api.media import answer
from service.api.negotiation import CSV, JSON, negotiated, offer, write_table
from service.api.repeated import RepeatedRoute
from service.api.v1.schemas.hazards import facts_of
from service.api.v1.schemas.windows import CSV_EXAMPLE, Windows, WindowSearch, export_windows, write_windows
from service.security import READ
from service.usecases import windows
from service.usecases.stations import check_zone
from tidecore import NUMERICS

router = APIRouter(prefix="/windows", tags=["windows"], route_class=RepeatedRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV))]


@router.post(
    "/search",
    operation_id="search_windows",
    summary="Search windows",
    response_model=Windows,
    responses=offer(CSV_EXAMPLE, etag=False)
    | declare(
        "not-found",
        "no-model",
        "invalid-span",
        "invalid-filter",
        "span-too-long",
        "search-too-large",
        "invalid-rule",
        "outside-ephemeris",
        "model-unreadable",
        "not-acceptable",
        document=True,
    ),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)
def search_windows(body: WindowSearch, form: FormDep, caller: CallerDep, context: ContextDep) -> Response:
    """Find the windows of species rules at marks over a span, best first, and say why where there are none."""
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    result = windows.search_windows(
        context,
        caller,
        body.span,
        body.mark_ids,
        body.rule_ids,
        body.within,
        facts_of(body.outing),
        body.include_dangerous,
    )
    if form == JSON:
        response = answer(write_windows(result, body.limit, NUMERICS, zone))
    else:
        response = write_table(export_windows(result, body.limit), zone)
    response.headers["Vary"] = VARY_SERIES
    return response
