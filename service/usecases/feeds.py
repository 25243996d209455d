"""Feeds: the sessions of the newest plan of a series as a calendar, for whoever has the token of the feed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from service.errors import DocumentInvalid, NotFound, Stale
from service.exports.series import Export
from service.exports.session_calendar import event_calendar
from service.security import FEED_TOKEN, Caller, Key, new_key, token_of
from service.storage.identifiers import is_id
from service.storage.plan_records import FeedHolder, FeedRecord, PlanRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.marks import MARKS
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page, one_page
from service.usecases.plan_calendars import PlanCalendar, Selection, calendar_basis, read_calendar, write_calendar
from service.usecases.species_rules import SPECIES_RULES
from tidecore.errors import Fault

FEED = "feed"
#: A use is written down when the one before is older: readers ask often, and every write is one to the whole store.
USE_NOTED = timedelta(hours=1)
#: How often readers are asked to look again; a plan is made anew at night.
REFRESH = timedelta(hours=4)
#: Compared with where there is no such token, so that this takes as long.
_NOBODY = "0" * 64


@dataclass(frozen=True, slots=True)
class MadeFeed:
    """A feed just made: its record, and its token, which is shown now and never again."""

    record: FeedRecord
    token: Key


@dataclass(frozen=True, slots=True)
class FeedBasis:
    """What a feed shows, found before its sessions are read: its newest plan, None before there is one.

    ``parts`` are all that decides what is written; ``modified`` is when the last of them was written.
    """

    record: FeedRecord
    plan: PlanRecord | None
    parts: Sequence[str | int]
    modified: datetime


@dataclass(frozen=True, slots=True)
class FollowedFeed:
    """A feed as it stands; the calendar is None where it is known already, or there is no plan."""

    basis: FeedBasis
    calendar: PlanCalendar | None


def create_feed(
    context: Context,
    caller: Caller,
    name: str,
    series: str,
    selection: Selection,
    keep: Keep[MadeFeed] = keep_nothing,
) -> MadeFeed:
    """Make a feed of a series of plans.

    Raises
    ------
    NotFound
        If a mark or a rule of the selection is not there.
    DocumentInvalid
        If no plan is of the series.
    """
    token = new_key(FEED_TOKEN)
    with context.store.unit(caller.account_id, writes=True) as unit:
        for ids, kind, repository in (
            (selection.mark_ids, MARKS.kind, unit.marks),
            (selection.rule_ids, SPECIES_RULES.kind, unit.species_rules),
        ):
            there = repository.many([key for key in ids or () if is_id(key)])
            for key in ids or ():
                if key not in there:
                    raise NotFound(kind, key)
        if not unit.plans.page(series, None, 1):
            raise DocumentInvalid(
                Fault("series", "no plan is of this series", "the series of one that /v1/plans lists")
            )
        record = unit.feeds.add(
            name=name,
            series=series,
            selection=_plain(selection),
            prefix=token.prefix,
            secret_hash=token.secret_hash,
            now=context.clock(),
        )
        made = MadeFeed(record, token)
        keep(unit, made)
        unit.commit()
    return made


def get_feed(context: Context, caller: Caller, feed_id: str) -> FeedRecord:
    """Return a feed; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return _find(unit, feed_id)


def list_feeds(context: Context, caller: Caller, after: str | None, limit: int) -> Page[FeedRecord]:
    """Return a page of feeds."""
    with context.store.unit(caller.account_id) as unit:
        return one_page(lambda most: unit.feeds.page(after, most), limit, lambda one: one.feed_id)


def remove_feed(context: Context, caller: Caller, feed_id: str, expected: Callable[[FeedRecord], bool]) -> None:
    """Delete a feed: its token is good for nothing from then on. Stale if the feed is not as expected."""
    with context.store.unit(caller.account_id, writes=True) as unit:
        if not expected(_find(unit, feed_id)):
            raise Stale(FEED, feed_id)
        unit.feeds.remove(feed_id)
        unit.commit()


def open_feed(context: Context, text: str) -> Caller:
    """Return who reads by the token of a feed: its account, with no scope, and the feed in place of a key.

    Raises
    ------
    NotFound
        If the text is no token, or one that is not known, or was revoked: all are told alike.
    """
    token = token_of(text)
    holder = None if token is None else _holder(context, token)
    fits = (token or Key("", "", FEED_TOKEN)).fits(_NOBODY if holder is None else holder.secret_hash)
    if holder is None or not fits:
        raise NotFound(FEED, "(hidden)", "the address that was shown when the feed was made")
    now = context.clock()
    if holder.last_used_at is None or now - holder.last_used_at >= USE_NOTED:
        with context.store.unit(holder.account_id, writes=True) as unit:
            unit.feeds.note_use(holder.feed_id, now)
            unit.commit()
    return Caller(holder.account_id, frozenset(), holder.feed_id)


def _holder(context: Context, token: Key) -> FeedHolder | None:
    """Return what is kept of the token with this prefix.

    Remembered as long as nobody has written anything since, so that a token that is revoked is good for nothing at
    once; and of the right token alone: how long a wrong one takes tells nothing of others.
    """
    asked = (FEED, token.prefix, token.secret_hash)
    # Before the store is read: a write in between makes what was found forgotten, not wrong.
    pulse = context.store.pulse.read()
    known: FeedHolder | None = None if pulse is None else context.wanted.find(asked, pulse)
    if known is not None:
        return known
    with context.store.across_accounts() as across:
        found = across.feeds.holder(token.prefix)
    if pulse is not None and found is not None and token.fits(found.secret_hash):
        context.wanted.keep(asked, pulse, found)
    return found


def follow_feed(context: Context, caller: Caller, known: Callable[[FeedBasis], bool]) -> FollowedFeed:
    """Return the feed that a caller opened; its sessions are not read where what they rest on is ``known``.

    Raises
    ------
    NotFound
        If the feed was revoked since it was opened.
    """
    with context.store.unit(caller.account_id) as unit:
        record = unit.feeds.get(caller.key_id or "")
        if record is None:
            raise NotFound(FEED, "(hidden)", "the address that was shown when the feed was made")
        basis = _basis(unit, record)
        if basis.plan is None or known(basis):
            return FollowedFeed(basis, None)
        selection = _within(_selection(record.selection), unit, basis.plan)
        return FollowedFeed(basis, read_calendar(context, unit, basis.plan, selection))


def write_feed(found: FollowedFeed, caution: str) -> Export:
    """Return a feed as iCalendar, without an event before there is a plan."""
    record = found.basis.record
    if found.calendar is None:
        return event_calendar([], record.name, f"{record.feed_id}.ics", REFRESH)
    return replace(write_calendar(found.calendar, record.name, caution, REFRESH), file_name=f"{record.feed_id}.ics")


def _find(unit: UnitOfWork, feed_id: str) -> FeedRecord:
    found = unit.feeds.get(feed_id) if is_id(feed_id) else None
    if found is None:
        raise NotFound(FEED, feed_id)
    return found


def _basis(unit: UnitOfWork, record: FeedRecord) -> FeedBasis:
    plan = unit.plans.newest_done(record.series)
    if plan is None:
        return FeedBasis(record, None, [record.feed_id], record.created_at)
    parts, written = calendar_basis(unit, plan)
    return FeedBasis(record, plan, [record.feed_id, *parts], max(record.created_at, written))


def _plain(selection: Selection) -> dict[str, Any]:
    return {name: _listed(getattr(selection, name)) for name in Selection.__slots__}


def _listed(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _selection(plain: Mapping[str, Any]) -> Selection:
    read: dict[str, Any] = {name: tuple(one) if isinstance(one, list) else one for name, one in plain.items()}
    return Selection(**read)


def _within(selection: Selection, unit: UnitOfWork, plan: PlanRecord) -> Selection:
    """Return a selection without what is not in a plan: a feed goes on where a mark is not planned any more."""
    marks, rules = selection.mark_ids, selection.rule_ids
    if marks is not None:
        there = set(unit.plans.mark_ids(plan.plan_id))
        marks = tuple(key for key in marks if key in there)
    if rules is not None:
        known = {one["id"] for one in plan.rules or ()}
        rules = tuple(key for key in rules if key in known)
    return replace(selection, mark_ids=marks, rule_ids=rules)
