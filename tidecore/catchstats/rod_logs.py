"""From a trip on record to what one of its rods did, as two rods are compared by it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeVar

import numpy as np

from tidecore.calendars import merged
from tidecore.catchlog import Bite, Catch, Deployment, TripRecord, bait_on, ticks
from tidecore.catchstats.two_rods import RodLog
from tidecore.timebase import US_PER_HOUR
from tidecore.units import IntArray

E = TypeVar("E", Bite, Catch)
Change = Literal["range", "bait", "rig"]

#: What is known to no better than this is too unsure for bursts [min].
_SURE_MIN = 5


@dataclass(frozen=True, slots=True)
class RodOnRecord:
    """What a rod did up to an instant, and what the record leaves open.

    ``uncast_h``: hours in use without casts on record, in which nothing is compared. ``unsure``: fish and bites whose
    times are known to no better than 15 or 60 min.
    """

    log: RodLog
    uncast_h: float
    unsure: int


def rods_of(record: TripRecord) -> tuple[str, ...]:
    """Return the rods of a trip, each once, in the order in which they were first in use."""
    return tuple(dict.fromkeys(one.rod for one in sorted(record.deployments, key=lambda one: one.start)))


def rod_on_record(record: TripRecord, rod: str, now_us: int) -> RodOnRecord:
    """Return what a rod of a trip did up to ``now_us`` [microseconds since 1970]; nothing where there is no such rod.

    Fish and bites count that name a deployment of the rod. A deployment with another method or reach than the one
    before it is a change: of range where the reach alone differs, else of more than one thing.
    """
    found = sorted((one for one in record.deployments if one.rod == rod), key=lambda one: one.start)
    found = [one for one in found if ticks(one.start) <= now_us]
    refs = {one.ref for one in found}
    catches = _of(record.catches, refs, now_us)
    bites = [one for one in _of(record.bites, refs, now_us) if one.outcome != "landed"]
    changed_us, change = _last_change(found, now_us)
    spans = [bait_on(one) for one in found]
    log = RodLog(
        name=rod,
        bait_on=merged(np.concatenate([np.empty((0, 2), dtype=np.int64), *spans])),
        catches=_times(catches),
        bites=_times(bites),
        aim=(found[-1].aim or "") if found else "",
        last_change=change,
        changed_us=changed_us,
    )
    uncast = sum(min(ticks(one.end), now_us) - ticks(one.start) for one in found if not one.casts)
    unsure = sum(one.precision_min > _SURE_MIN for one in catches) + sum(one.precision_min > _SURE_MIN for one in bites)
    return RodOnRecord(log, uncast / US_PER_HOUR, unsure)


def without_rod(record: TripRecord, now_us: int) -> tuple[int, int]:
    """Return how many fish, and how many bites that landed nothing, up to ``now_us`` name no deployment."""
    fish = sum(one.deployment is None and ticks(one.at) <= now_us for one in record.catches)
    bites = sum(one.deployment is None and ticks(one.at) <= now_us and one.outcome != "landed" for one in record.bites)
    return fish, bites


def _of(events: Iterable[E], refs: set[str], now_us: int) -> list[E]:
    return [one for one in events if one.deployment in refs and ticks(one.at) <= now_us]


def _times(events: Sequence[Bite | Catch]) -> IntArray:
    return np.array([ticks(one.at) for one in events], dtype=np.int64)


def _last_change(deployments: Sequence[Deployment], now_us: int) -> tuple[int | None, Change | None]:
    """Return when a rod was last changed, and in what: None where that is none of range, bait and rig alone."""
    found: list[tuple[int, Change | None]] = []
    for before, one in pairwise(deployments):
        if one.method != before.method or one.reach != before.reach:
            found.append((ticks(one.start), "range" if one.method == before.method else None))
    found += [
        (ticks(change.at), None if change.what == "other" else change.what)
        for one in deployments
        for change in one.changes
        if ticks(change.at) <= now_us
    ]
    return max(found, key=lambda one: one[0], default=(None, None))
