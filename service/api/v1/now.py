"""Route of a mark now."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, ZoneDep
from service.api.instants import Instant
from service.api.media import StrictRoute, answer
from service.api.negotiation import JSON, TEXT, negotiated, offer, write_text
from service.api.v1.schemas.now import NowSchema, write_now
from service.api.v1.schemas.now_words import screen_of
from service.exports.now_screen import now_screen
from service.usecases.now import find_now, see_now
from tidecore import NUMERICS
from tidecore.safety import OutingFacts

# Not a route that remembers its questions: what it answers changes with the clock.
router = APIRouter(tags=["marks"], route_class=StrictRoute)


@router.get(
    "/marks/{mark_id}/now",
    operation_id="get_now",
    summary="A mark now",
    response_model=NowSchema,
    responses=offer(None, TEXT)
    | declare("not-found", "no-model", "invalid-span", "outside-ephemeris", "model-unreadable", "not-acceptable"),
)
def get_now(
    request: Request,
    mark_id: MarkId,
    zone: ZoneDep,
    form: Annotated[str, Depends(negotiated(JSON, TEXT))],
    caller: CallerDep,
    context: ContextDep,
    at: Annotated[
        Instant | None, Query(description="The instant, to the minute; that of the clock unless given.")
    ] = None,
    until: Annotated[
        Instant | None,
        Query(description="End of the session, within a day: with it come where to stand, the next move, turn-back."),
    ] = None,
    party: Annotated[int | None, Query(ge=1, le=1000, description="How many go; not known unless given.")] = None,
    first_visit: Annotated[bool | None, Query(description="Whether the mark is new to whoever goes.")] = None,
    surge_m: Annotated[
        float | None,
        Query(ge=-15.0, le=15.0, allow_inf_nan=False, description="Surge [m]; that of the pressure unless given."),
    ] = None,
    pace: Annotated[
        float,
        Query(ge=0.2, le=10.0, allow_inf_nan=False, description="How many times as long as stated the way back takes."),
    ] = 1.0,
) -> Response:
    """Say what the water does at a mark, what is known against being there, and what the coming hours bring.

    As text it is one screen, 24 lines of 80 columns, by the clocks of the mark.
    """
    facts = OutingFacts(party=party, first_visit=first_visit, surge_m=surge_m, pace=pace)
    basis = find_now(context, caller, mark_id, at, until, facts, surge_m)

    def write() -> Response:
        view = see_now(basis)
        return write_text(now_screen(screen_of(view))) if form == TEXT else answer(write_now(view, NUMERICS, zone))

    return answer_series(request, basis.outing, form, zone, write)
