"""Routes of sessions: the search, and two of them beside each other."""

from __future__ import annotations

import hashlib
import zoneinfo
from typing import Any

import orjson
from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep
from service.api.media import StrictRoute, answer
from service.api.paging import read_search_place, write_search_place
from service.api.v1.schemas.hazards import facts_of
from service.api.v1.schemas.session_pairs import ComparedSessions, write_comparison
from service.api.v1.schemas.session_search import SessionComparison, SessionSearch
from service.api.v1.schemas.sessions import Sessions, write_sessions
from service.security import READ
from service.usecases import sessions
from service.usecases.stations import check_zone
from tidecore import NUMERICS

router = APIRouter(prefix="/sessions", tags=["sessions"], route_class=StrictRoute)

_SEARCHED = (
    "not-found",
    "no-model",
    "invalid-span",
    "span-too-long",
    "search-too-large",
    "outside-ephemeris",
    "model-unreadable",
)


@router.post(
    "/search",
    operation_id="search_sessions",
    summary="Search sessions",
    response_model=Sessions,
    responses=declare(*_SEARCHED, "invalid-filter", "cursor-invalid", "cursor-outdated", document=True),
    # It only computes, for all that it is a POST.
    openapi_extra=needs(READ),
)
def search_sessions(body: SessionSearch, caller: CallerDep, context: ContextDep) -> Response:
    """Find when to arrive, fish and leave, in free time, ranked over all or per mark, species or day, with reasons.

    Pages go on by `cursor`, with the same question; where what they rest on has changed meanwhile, that is 410.
    """
    zone = _zone(body.tz)
    basis = sessions.find_session_basis(context, caller, body.question())
    question, state = _digest([caller.account_id, body.asked()]), _digest([basis.state, NUMERICS])
    start = read_search_place(question, state, body.cursor)
    result = sessions.search_sessions(basis)
    page = result.page(start, body.limit)
    after = start + len(page)
    cursor = write_search_place(question, state, after if after < len(result.ranked) else None)
    return answer(write_sessions(result, page, cursor, NUMERICS, zone))


@router.post(
    "/compare",
    operation_id="compare_sessions",
    summary="Compare two sessions",
    response_model=ComparedSessions,
    responses=declare(*_SEARCHED, document=True),
    openapi_extra=needs(READ),
)
def compare_sessions(body: SessionComparison, caller: CallerDep, context: ContextDep) -> Response:
    """Show two sessions in full, what differs factor by factor, and which is better for what."""
    zone = _zone(body.tz)
    pair, found, on_file = sessions.compare_two_sessions(
        context, caller, body.places, body.rule_ids, body.options, facts_of(body.outing)
    )
    return answer(write_comparison(pair, found, on_file, NUMERICS, zone))


def _zone(name: str | None) -> zoneinfo.ZoneInfo | None:
    return None if name is None else check_zone(name, "tz")


def _digest(parts: Any) -> str:
    return hashlib.sha256(orjson.dumps(parts, option=orjson.OPT_SORT_KEYS)).hexdigest()[:24]
