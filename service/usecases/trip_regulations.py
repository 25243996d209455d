"""What the rules on file say of the catches of a trip, other trips of the same days counted in."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from service.security import Caller
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.marks import MARKS
from service.usecases.regulation_checks import RulesAt, rules_at, worst_first
from service.usecases.trips import TRIPS, TripView
from tidecore.catchlog import Catch, Finding, KeptBesides, judge_catches, worst
from tidecore.catchlog.findings import CHECK, Verdict
from tidecore.catchlog.trip import LONGEST_TRIP_H

#: A trip that touches a local day begins no longer before it than the longest trip; days and their edges take 27 h.
_BEFORE, _AFTER = timedelta(hours=LONGEST_TRIP_H + 27.0), timedelta(hours=27.0)

#: Said of every trip.
NOTHING_KEPT = f"Nothing is on record as kept: nothing is judged. {CHECK}"


@dataclass(frozen=True, slots=True)
class TripJudged:
    """What the rules on file say of a trip, the worst first; ``others`` are the trips whose catches fill its bags.

    ``anglers`` is how many there were at most on all of these trips, the account's own angler on each.
    """

    trip: TripView
    at: RulesAt
    findings: Sequence[Finding]
    others: Sequence[TripView]
    anglers: int

    @property
    def verdict(self) -> Verdict | None:
        """The worst of the findings; None where nothing was kept."""
        return worst(self.findings) if kept_of(self.trip) else None


def kept_of(view: TripView) -> list[Catch]:
    """Return what was kept on a trip."""
    return [one for one in view.document.catches if one.fate == "kept"]


def judge_trip(context: Context, caller: Caller, trip_id: str) -> TripJudged:
    """Return what the rules on file say of a trip, as it and its mark stand; NotFound without such a trip."""
    with context.store.unit(caller.account_id) as unit:
        (trip,) = TRIPS.find(context, unit, [trip_id])
        at = rules_at(context, unit, trip.document.trip.mark)
        others = _others(context, unit, trip, at.mark.document.zone) if kept_of(trip) else []
        marks = {one.document.trip.mark for one in others}
        areas = {one.record.id: one.document.regulation_areas for one in MARKS.find(context, unit, sorted(marks))}
    anglers = 1 + sum(one.document.trip.party - 1 for one in (trip, *others))
    besides = [
        KeptBesides(one, frozenset(areas[other.document.trip.mark]) or None)
        for other in others
        for one in kept_of(other)
    ]
    found: Sequence[Finding] = ()
    if kept_of(trip):
        zone = at.mark.document.zone
        judged = judge_catches(trip.document.catches, at.documents, zone, anglers, besides=besides)
        found = worst_first([*at.missing, *judged])
    return TripJudged(trip, at, found, others, anglers)


def _others(context: Context, unit: UnitOfWork, trip: TripView, zone: zoneinfo.ZoneInfo) -> list[TripView]:
    """Return the other trips on which something was kept on a local day on which something was kept on this one."""
    days = set(_days(kept_of(trip), zone))
    times = [one.at for one in kept_of(trip)]
    near = TRIPS.between(context, unit, "started_at", min(times) - _BEFORE, max(times) + _AFTER)
    return [one for one in near if one.record.id != trip.record.id and days & set(_days(kept_of(one), zone))]


def _days(catches: Iterable[Catch], zone: zoneinfo.ZoneInfo) -> Iterator[date]:
    """Give the local days of catches, both where a time is too unsure to tell."""
    for one in catches:
        slack = timedelta(minutes=one.precision_min)
        yield from ((one.at + side).astimezone(zone).date() for side in (-slack, slack))
