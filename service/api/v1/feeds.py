"""Routes of feeds: calendars of a series of plans, read by token."""

from __future__ import annotations

from email.utils import format_datetime
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, answer_form, declare_conditional, is_unchanged, parts_etag
from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep, FeedId
from service.api.editing import EDIT, ONCE, IfMatchDep, OnceDep, gone, respond, written
from service.api.media import answer
from service.api.negotiation import ICALENDAR, offer_only, write_file
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.repeated import RepeatedRoute
from service.api.v1.schemas.feeds import Feed, FeedCreate, FeedList, FeedMade, write_feed, write_feeds, write_made
from service.api.v1.schemas.sessions import CAUTION
from service.usecases import feeds
from service.usecases.feeds import FeedBasis, MadeFeed
from service.usecases.once import Answered, Keep
from service.usecases.records import FeedRecord

router = APIRouter(prefix="/feeds", tags=["plans"], route_class=RepeatedRoute)

_TOKEN = Path(
    max_length=64, description="Token of a feed.", examples=["ebf_0123456789_0123456789abcdefghjkmnpqrstvwxyz"]
)


@router.post(
    "",
    operation_id="create_feed",
    summary="Make a feed of a series of plans",
    status_code=201,
    response_model=FeedMade,
    responses=declare("not-found", "store-conflict", *ONCE, document=True),
)
def create_feed(body: FeedCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Make a calendar that programs follow without a key: it shows the newest finished plan of a series, whichever that
    is when they look.

    The answer has the address, which is the secret, this once: only a hash of it is kept. Whoever has it reads the
    calendar and nothing else, until the feed is deleted.
    """
    fresh: list[MadeFeed] = []

    def make(keep: Keep[MadeFeed]) -> MadeFeed:
        fresh.append(feeds.create_feed(context, caller, body.name, body.series, body.selection(), keep))
        return fresh[-1]

    # What is kept for a request sent again does not hold the token.
    answered = once.run(context, caller, make, lambda made: _made(made, shown=False))
    return respond(_made(fresh[-1], shown=True) if fresh else answered)


@router.get(
    "",
    operation_id="list_feeds",
    summary="List feeds",
    response_model=FeedList,
    responses=declare("cursor-invalid", "invalid-input"),
)
def list_feeds(
    request: Request, caller: CallerDep, context: ContextDep, cursor: Cursor = None, limit: Limit = 100
) -> Response:
    """List the feeds of the account, a page at a time, with when each was last read."""
    page = feeds.list_feeds(context, caller, read_cursor("feeds", cursor), check_limit(request, limit))
    return answer(write_feeds(page, write_cursor("feeds", page.after)))


@router.get(
    "/{token}.ics",
    operation_id="read_feed",
    summary="Read a feed as a calendar",
    response_class=Response,
    openapi_extra=needs(None),
    responses=offer_only(ICALENDAR) | declare("not-found", "too-many-requests", keyless=True),
)
def read_feed(request: Request, token: Annotated[str, _TOKEN], caller: CallerDep, context: ContextDep) -> Response:
    """Read the sessions of the newest finished plan of the series as iCalendar: the token is all that is asked for.

    An event keeps its UID from plan to plan and its SEQUENCE counts changes; what is gone is told as CANCELLED once.
    Before there is a plan the calendar has no event. Tokens that are unknown and those revoked are answered alike.
    """
    found = feeds.follow_feed(context, caller, lambda basis: is_unchanged(request, _calendar_etag(basis)))
    response = answer_form(request, _calendar_etag(found.basis), lambda: write_file(feeds.write_feed(found, CAUTION)))
    response.headers["Last-Modified"] = format_datetime(found.basis.modified, usegmt=True)
    return response


@router.get(
    "/{feed_id}",
    operation_id="get_feed",
    summary="Read what a feed is of",
    response_model=Feed,
    responses=declare_conditional() | declare("not-found"),
)
def get_feed(request: Request, feed_id: FeedId, caller: CallerDep, context: ContextDep) -> Response:
    """Read which series a feed follows, which sessions are in it, and when it was last read."""
    record = feeds.get_feed(context, caller, feed_id)
    return answer_document(request, _etag(record), lambda: write_feed(record))


@router.delete(
    "/{feed_id}",
    operation_id="delete_feed",
    summary="Revoke a feed",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_feed(feed_id: FeedId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a feed: its address is answered from then on as if it had never been."""
    feeds.remove_feed(context, caller, feed_id, lambda record: if_match.allows(_etag(record)))
    return gone()


def _etag(record: FeedRecord) -> str:
    used = "" if record.last_used_at is None else record.last_used_at.isoformat()
    return parts_etag("feed", record.feed_id, used)


def _calendar_etag(basis: FeedBasis) -> str:
    return parts_etag("feed-calendar", *basis.parts)


def _made(made: MadeFeed, *, shown: bool) -> Answered:
    headers = {"Location": f"/v1/feeds/{made.record.feed_id}", "ETag": _etag(made.record)}
    return written(write_made(made, shown=shown), 201, headers)
