"""Feeds in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema, whole
from service.api.v1.schemas.windows import Ids
from service.usecases.feeds import MadeFeed
from service.usecases.page import Page
from service.usecases.plan_calendars import Selection
from service.usecases.records import FeedRecord
from tidecore.place import Document, Name
from tidecore.safety import Grade
from tidecore.windows.verdicts import FishableGrade

EXAMPLE: dict[str, Any] = {
    "name": "December at the beach",
    "series": "december",
    "safe": ["info", "caution", "not_assessed"],
    "most": 60,
}
_SAFE = "Only sessions whose verdict `safe` is one of these; all unless given."
_FISHABLE = "Only sessions whose verdict `fishable` is one of these; all unless given."


class FeedCreate(Document):
    """A calendar of the newest finished plan of a series, and which of its sessions are in it."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    name: Annotated[Name, Field(description="What readers call the calendar.")]
    series: Annotated[str, Field(min_length=1, max_length=100, description="The series of a plan, as it shows it.")]
    mark_ids: Annotated[Ids | None, Field(description="Ids of marks; all unless given.")] = None
    rule_ids: Annotated[Ids | None, Field(description="Ids of species rules that get most; all unless given.")] = None
    safe: Annotated[tuple[Grade, ...] | None, Field(min_length=1, max_length=4, description=_SAFE)] = None
    fishable: Annotated[tuple[FishableGrade, ...] | None, Field(min_length=1, max_length=4, description=_FISHABLE)] = (
        None
    )
    most: Annotated[
        int,
        Field(strict=True, ge=1, le=1000, description="Most sessions: those of most worth."),
        BeforeValidator(whole),
    ] = 200

    def selection(self) -> Selection:
        """Return which sessions are asked for, each name once."""
        return Selection(
            mark_ids=_once(self.mark_ids),
            rule_ids=_once(self.rule_ids),
            safe=_once(self.safe),
            fishable=_once(self.fishable),
            most=self.most,
        )


class Feed(Schema):
    """A feed, without its token."""

    id: str
    name: str
    series: str
    mark_ids: list[str] | None
    rule_ids: list[str] | None
    safe: list[Grade] | None
    fishable: list[FishableGrade] | None
    most: int
    prefix: Annotated[str, Field(description="The first part of its token, to tell it from others.")]
    created_at: InstantText
    last_used_at: Annotated[
        InstantText | None,
        Field(description="When it was last read, up to an hour earlier than it was; null where it never was."),
    ]


class FeedMade(Feed):
    """A feed just made, with its token: this once, for only a hash of it is kept."""

    token: Annotated[
        str | None, Field(description="Null where the request was answered before, under its Idempotency-Key.")
    ]
    path: Annotated[
        str | None,
        Field(description="Where programs read the calendar, on the address of this service; null as the token is."),
    ]


class FeedList(Schema):
    """A page of feeds."""

    items: list[Feed]
    next_cursor: str | None


def write_feed(record: FeedRecord) -> dict[str, Any]:
    """Return a feed as `Feed` has it."""
    return {
        "id": record.feed_id,
        "name": record.name,
        "series": record.series,
        **record.selection,
        "prefix": record.prefix,
        "created_at": write_instant(record.created_at),
        "last_used_at": None if record.last_used_at is None else write_instant(record.last_used_at),
    }


def write_made(made: MadeFeed, *, shown: bool) -> dict[str, Any]:
    """Return a feed as `FeedMade` has it, its token ``shown`` or not."""
    token = made.token.text if shown else None
    path = f"/v1/feeds/{made.token.text}.ics" if shown else None
    return {**write_feed(made.record), "token": token, "path": path}


def write_feeds(page: Page[FeedRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `FeedList` has it."""
    return {"items": [write_feed(one) for one in page.items], "next_cursor": cursor}


def _once(given: Any) -> tuple[str, ...] | None:
    return None if given is None else tuple(dict.fromkeys(given))
