"""Two rods side by side: what to do now, by what a caller tells or by a trip on record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from service.errors import DocumentInvalid
from service.security import Caller
from service.usecases.context import Context
from service.usecases.trips import TRIPS, TripView
from tidecore.catchlog import TripRecord, ticks
from tidecore.catchstats import (
    Habits,
    RodLog,
    RodOnRecord,
    TwoRodAdvice,
    advise,
    rod_on_record,
    rods_of,
    without_rod,
)
from tidecore.catchstats.two_rods import Hindrance
from tidecore.documents import shown
from tidecore.errors import Fault
from tidecore.units import IntArray


@dataclass(frozen=True, slots=True)
class TwoRodQuestion:
    """Two rods and when it is asked, see `tidecore.catchstats.advise`; ``given`` names the habits of the caller."""

    one: RodLog
    other: RodLog
    now_us: int
    hindrances: tuple[Hindrance, ...]
    habits: Habits
    given: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class RodTotals:
    """A rod up to now: bait-on hours, and how much of what it had lies outside the time compared."""

    name: str
    bait_on_us: int
    fish_left_out: int
    bites_left_out: int


@dataclass(frozen=True, slots=True)
class TwoRodView:
    """What to do, on what that rests, and what the record leaves open."""

    question: TwoRodQuestion
    advice: TwoRodAdvice
    totals: tuple[RodTotals, RodTotals]
    remarks: Sequence[str] = field(default=())
    trip: TripView | None = None


def compare_rods(question: TwoRodQuestion, remarks: Sequence[str] = ()) -> TwoRodView:
    """Return what to do with two rods."""
    found = advise(
        question.one, question.other, question.now_us, hindrances=question.hindrances, habits=question.habits
    )
    one, other = (
        _totals(rod, question.now_us, side.fish, side.bites)
        for rod, side in zip((question.one, question.other), found.sides, strict=True)
    )
    return TwoRodView(question, found, (one, other), remarks)


def compare_rods_of_trip(
    context: Context,
    caller: Caller,
    trip_id: str,
    rods: Sequence[str] | None,
    at: datetime | None,
    hindrances: tuple[Hindrance, ...],
) -> TwoRodView:
    """Return what to do with two rods of a trip, by its record up to an instant: its end, or now while it has none.

    Raises
    ------
    NotFound
        If there is no such trip.
    DocumentInvalid
        If two rods are not named and it has not two, one named is not of the trip, or one has no casts on record.
    """
    trip = TRIPS.get(context, caller, trip_id)
    record = trip.document
    now_us = ticks(at or record.trip.end or context.clock())
    names = _two_of(rods, rods_of(record))
    found = [rod_on_record(record, name, now_us) for name in names]
    uncast = [
        Fault("rod", f"{shown(one.log.name)} has no casts on record up to then", "a rod whose casts are on record")
        for one in found
        if not (one.log.bait_on[:, 0] < now_us).any()
    ]
    if uncast:
        raise DocumentInvalid(uncast)
    question = TwoRodQuestion(found[0].log, found[1].log, now_us, hindrances, Habits())
    return replace(compare_rods(question, list(_left_open(record, found, now_us))), trip=trip)


def _two_of(asked: Sequence[str] | None, there: Sequence[str]) -> Sequence[str]:
    """Return the two rods asked for, or those of a trip that has two."""
    known = ", ".join(shown(one) for one in there) or "none"
    if asked is None and len(there) != 2:
        problem = "is missing" if there else "is missing, and the trip has no rod on record"
        raise DocumentInvalid(Fault("rod", problem, f"two of the rods of the trip, which are: {known}"))
    names = there if asked is None else asked
    faults = [
        Fault("rod", f"{shown(one)} is no rod of the trip", f"two of: {known}") for one in names if one not in there
    ]
    if len(set(names)) != 2:
        faults.append(Fault("rod", f"names {len(set(names))}", f"two rods, of: {known}"))
    if faults:
        raise DocumentInvalid(faults)
    return names


def _left_open(record: TripRecord, found: Sequence[RodOnRecord], now_us: int) -> Iterator[str]:
    """Say what the record leaves open."""
    for one in found:
        name = one.log.name
        if one.uncast_h > 0.0:
            yield f"{name}: {one.uncast_h:.1f} h in use without casts on record are not compared"
        if one.unsure:
            yield f"{name}: {one.unsure} fish and bites are known to 15 or 60 min only; bursts of them tell little"
    fish, bites = without_rod(record, now_us)
    if fish or bites:
        yield f"{fish} fish and {bites} bites name no deployment, so no rod: they are not counted"


def _totals(rod: RodLog, now_us: int, fish: int, bites: int) -> RodTotals:
    spans = np.minimum(rod.bait_on, now_us)
    on_us = int((spans[:, 1] - spans[:, 0]).sum())
    return RodTotals(rod.name, on_us, _up_to(rod.catches, now_us) - fish, _up_to(rod.bites, now_us) - bites)


def _up_to(times: IntArray, now_us: int) -> int:
    return int((times <= now_us).sum())
