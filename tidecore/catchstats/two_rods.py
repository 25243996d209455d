"""Two rods of one session side by side: which does better, how sure that is, and what to do now.

The thresholds are common practice or choices of ours, as marked; they are `Habits`, which a caller may change.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from tidecore.calendars import clipped, intersection, merged
from tidecore.catchstats.comparison import RateComparison, chance_greater, compare_rates
from tidecore.errors import Fault, InvalidInput
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.units import IntArray

Advice = Literal["leave", "change_one_thing", "double_up", "one_rod"]
#: What is changed on a rod, one thing at a time, in this order; common practice.
ORDER: tuple[Literal["range", "bait", "rig"], ...] = ("range", "bait", "rig")
Hindrance = Literal["weed", "surf", "rock_at_night"]
#: Where each of the habits comes from.
BASES: Mapping[str, Literal["common practice", "a choice of ours"]] = {
    "judge_min": "common practice",
    "quick_fish": "common practice",
    "quick_min": "a choice of ours",
    "burst_min": "a choice of ours",
    "memory_min": "a choice of ours",
    "sure": "a choice of ours",
    "fast_per_h": "a choice of ours",
}


def _nothing() -> IntArray:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class RodLog:
    """What one rod did: when its bait was in, spans of shape ``(n, 2)``, and its catches and bites.

    Times are microseconds since 1970. ``bites`` are those that landed nothing; ``aim`` what it is for, where it is
    something of its own; ``last_change`` what was changed on it last, and ``changed_us`` when.
    """

    name: str
    bait_on: IntArray
    catches: IntArray = field(default_factory=_nothing)
    bites: IntArray = field(default_factory=_nothing)
    aim: str = ""
    last_change: Literal["range", "bait", "rig"] | None = None
    changed_us: int | None = None


@dataclass(frozen=True, slots=True)
class Habits:
    """When to judge and what counts.

    ``judge_min``: bait-on time before a change is judged (2 to 3 baits, or 30 to 40 min; common practice).
    ``quick_fish`` on one rod, none more than ``quick_min`` after the one before it and the last at most so long ago,
    mean double up (two or three quick fish; common practice). ``burst_min``: fish of one rod at most so far apart count
    as one burst. ``memory_min``: older time is forgotten. ``sure``: the chance from which a rod is held for the better.
    ``fast_per_h``: bites and fish an hour of bait-on time from which one rod is all that can be tended. All minutes but
    the first, and the last two, are choices of ours, as `BASES` has it.
    """

    judge_min: float = 30.0
    quick_fish: int = 2
    quick_min: float = 20.0
    burst_min: float = 10.0
    memory_min: float = 120.0
    sure: float = 0.85
    fast_per_h: float = 12.0

    def __post_init__(self) -> None:
        """Refuse habits that are none; InvalidInput with all of them."""
        faults = [
            Fault(name, f"is {value}", "a number above 0")
            for name, value in (
                ("judge_min", self.judge_min),
                ("quick_min", self.quick_min),
                ("burst_min", self.burst_min),
                ("memory_min", self.memory_min),
                ("fast_per_h", self.fast_per_h),
            )
            if not (math.isfinite(value) and value > 0.0)
        ]
        if not 0.5 < self.sure < 1.0:
            faults.append(Fault("sure", f"is {self.sure}", "a chance above 0.5 and below 1"))
        if self.quick_fish < 2:
            faults.append(Fault("quick_fish", f"is {self.quick_fish}", "2 or more: one fish is no burst"))
        if faults:
            raise InvalidInput(faults)


@dataclass(frozen=True, slots=True)
class Side:
    """One rod in the time both baits were in: fish, bursts they came in, bites, and bait-on hours."""

    name: str
    effort_h: float
    fish: int
    bursts: int
    bites: int


@dataclass(frozen=True, slots=True)
class TwoRodAdvice:
    """What to do, with how sure it is.

    ``better`` is the rod that seems to do better, ``rod`` the one to be changed or moved, ``change`` what on it; empty
    or None where it does not matter. ``chance`` is that ``better`` does better than the other, bursts counted once: 0.5
    is none the wiser; NaN where the two are not compared. ``by_fish`` and ``by_bites`` compare them as if every fish,
    and every bite, came for itself; None without bait-on time in common. ``fish_per_burst`` tells how far they don't.
    ``tell_more`` says what would make it surer. What lies before ``since_us`` [microseconds since 1970] is not looked
    at: it is forgotten, or from before a change.
    """

    advice: Advice
    chance: float
    better: str
    rod: str
    change: Literal["range", "bait", "rig"] | None
    since_us: int
    shared_h: float
    sides: tuple[Side, Side]
    by_fish: RateComparison | None
    by_bites: RateComparison | None
    fish_per_burst: float
    why: str
    tell_more: str


def advise(
    one: RodLog,
    other: RodLog,
    now_us: int,
    *,
    hindrances: tuple[Hindrance, ...] = (),
    habits: Habits | None = None,
) -> TwoRodAdvice:
    """Return what to do with two rods.

    Only time in which both baits were in is compared, since the rods were last changed and no older than the memory.

    Parameters
    ----------
    one, other : RodLog
        Of the same session, with names that differ.
    now_us : int
        When the question is asked [microseconds since 1970]; what is later is left out.
    hindrances : tuple of str
        What makes two rods too many, as the angler sees it.
    habits : Habits, optional
        The thresholds; common practice and choices of ours unless given.

    Raises
    ------
    InvalidInput
        If both rods have one name.
    """
    if one.name == other.name:
        raise InvalidInput(Fault("other.name", f"is {other.name!r}, that of the first", "two names"))
    habits = habits or Habits()
    since = now_us - round(habits.memory_min * US_PER_MINUTE)
    # A rod that was changed is another rod: what it did before tells nothing of it.
    since = max([since, *(rod.changed_us for rod in (one, other) if rod.changed_us is not None)])
    shared = clipped(intersection(merged(one.bait_on), merged(other.bait_on)), since, now_us)
    hours = float((shared[:, 1] - shared[:, 0]).sum()) / US_PER_HOUR
    sides = (_side(one, shared, hours, habits), _side(other, shared, hours, habits))
    a, b = sides
    by_fish = compare_rates(a.fish, hours, b.fish, hours) if hours else None
    by_bites = compare_rates(a.bites, hours, b.bites, hours) if hours else None
    ahead = 0.5 if a.bursts == b.bursts else chance_greater(a.bursts, 1.0, b.bursts, 1.0)
    fish, bursts = a.fish + b.fish, a.bursts + b.bursts
    found = _Found(one, other, sides, hours, max(ahead, 1.0 - ahead), ahead >= 0.5, now_us, habits)
    decided = _decide(found, hindrances)
    return TwoRodAdvice(
        advice=decided.advice,
        chance=decided.chance,
        better="" if math.isnan(decided.chance) or decided.chance == 0.5 else (decided.better or found.better).name,
        rod=decided.rod,
        change=decided.change,
        since_us=since,
        shared_h=hours,
        sides=sides,
        by_fish=by_fish,
        by_bites=by_bites,
        fish_per_burst=fish / bursts if bursts else math.nan,
        why=decided.why,
        tell_more=decided.tell_more,
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """What the decision rests on."""

    one: RodLog
    other: RodLog
    sides: tuple[Side, Side]
    hours: float
    chance: float
    first_ahead: bool
    now_us: int
    habits: Habits

    @property
    def better(self) -> RodLog:
        return self.one if self.first_ahead else self.other

    @property
    def behind(self) -> RodLog:
        return self.other if self.first_ahead else self.one

    @property
    def bursts(self) -> tuple[int, int]:
        """Bursts of the better and of the other."""
        a, b = (side.bursts for side in self.sides)
        return (a, b) if self.first_ahead else (b, a)


@dataclass(frozen=True, slots=True)
class _Decision:
    """What is to be done; ``better`` where it is not simply the rod with more bursts."""

    advice: Advice
    chance: float
    why: str
    tell_more: str
    rod: str = ""
    change: Literal["range", "bait", "rig"] | None = None
    better: RodLog | None = None


def _decide(found: _Found, hindrances: tuple[Hindrance, ...]) -> _Decision:
    """Return what is to be done: what forbids a comparison first, then a burst, then patience, then the comparison."""
    habits, (a, b) = found.habits, found.sides
    if hindrances:
        why = f"{', '.join(hindrances).replace('_', ' ')}: one rod is all that can be tended well"
        return _Decision("one_rod", found.chance, why, "nothing: this is no question of which rod fishes better")
    busy = (a.fish + b.fish + a.bites + b.bites) / found.hours if found.hours else 0.0
    if found.hours * 60.0 >= habits.judge_min / 2.0 and busy >= habits.fast_per_h:
        why = f"{busy:.0f} bites and fish an hour on two rods: more than can be tended"
        surer = "how many bites are missed with two rods out"
        return _Decision("one_rod", found.chance, why, surer, "" if found.chance == 0.5 else found.behind.name)
    if found.one.aim != found.other.aim:
        why = "the rods have aims of their own: a quiet one is not failing against the other"
        return _Decision("leave", math.nan, why, "two rods after the same fish")
    rods = (found.one, found.other)
    quick = [_quick(rod, found.now_us, habits) for rod in rods]
    for fish, rod, quiet, silent in ((quick[0], *rods, quick[1]), (quick[1], *rods[::-1], quick[0])):
        if fish >= habits.quick_fish and not silent:
            return _double(found, fish, rod, quiet)
    if found.hours * 60.0 < habits.judge_min:
        left = habits.judge_min - found.hours * 60.0
        why = f"{found.hours * 60.0:.0f} min with both baits in: too early to judge (common practice 30 to 40 min)"
        return _Decision("leave", found.chance, why, f"another {left:.0f} min with both baits in")
    if found.chance >= habits.sure:
        why = f"{found.better.name} does better: {_counted(found)} in {found.hours:.1f} h with both baits in"
    elif not a.fish + b.fish + a.bites + b.bites:
        why = f"neither has had a bite in {found.hours * 60.0:.0f} min: search on with one, leave the other"
    else:
        return _Decision("leave", found.chance, f"no telling them apart: {_counted(found)}", _more(found))
    change = _next_change(found.behind)
    why += f"; change the {change}, nothing else"
    return _Decision("change_one_thing", found.chance, why, _more(found), found.behind.name, change)


def _double(found: _Found, fish: int, rod: RodLog, quiet: RodLog) -> _Decision:
    """Return the advice to put both rods where the fish are now."""
    chance = chance_greater(fish, 1.0, 0.0, 1.0)
    session = found.chance if rod is found.better else 1.0 - found.chance
    why = f"{fish} quick fish on {rod.name} and none on {quiet.name}: fish come in bursts, so both rods there, now"
    more = f"the chance counts the fish of this burst; over the session it is {session:.2f}"
    return _Decision("double_up", chance, why, more, quiet.name, better=rod)


def _side(rod: RodLog, shared: IntArray, hours: float, habits: Habits) -> Side:
    fish, bites = _within(rod.catches, shared), _within(rod.bites, shared)
    return Side(rod.name, hours, len(fish), _bursts(fish, habits.burst_min), len(bites))


def _within(times: IntArray, spans: IntArray) -> IntArray:
    """Return which times lie in spans, both ends in them: a fish comes in when its cast does. Ascending."""
    ordered = np.sort(times)
    if not len(spans):
        return ordered[:0]
    place = np.searchsorted(spans[:, 0], ordered, side="right") - 1
    return np.asarray(ordered[(place >= 0) & (ordered <= spans[np.maximum(place, 0), 1])])


def _bursts(times: IntArray, apart_min: float) -> int:
    """Return in how many bursts ascending times come."""
    return int((np.diff(times) > apart_min * US_PER_MINUTE).sum()) + 1 if len(times) else 0


def _quick(rod: RodLog, now_us: int, habits: Habits) -> int:
    """Return how many quick fish a rod has had up to now."""
    times = np.sort(rod.catches[rod.catches <= now_us])[::-1]
    if rod.changed_us is not None:
        times = times[times >= rod.changed_us]
    gaps = np.diff(np.concatenate(([-now_us], -times)))
    broken = np.flatnonzero(gaps > habits.quick_min * US_PER_MINUTE)
    return int(broken[0]) if broken.size else len(times)


def _next_change(rod: RodLog) -> Literal["range", "bait", "rig"]:
    if rod.last_change is None:
        return ORDER[0]
    return ORDER[(ORDER.index(rod.last_change) + 1) % len(ORDER)]


def _counted(found: _Found) -> str:
    a, b = found.sides
    return f"{a.fish} fish and {a.bites} bites on {a.name}, {b.fish} and {b.bites} on {b.name}"


def _more(found: _Found) -> str:
    """Say what would settle it: how many bursts more on one rod alone, and about how long that takes."""
    ahead, behind = found.bursts
    needed = 0
    while chance_greater(ahead + needed, 1.0, behind, 1.0) < 0.95:
        needed += 1
    if not needed:
        return "little: the chance is 0.95 or more"
    fish = "fish" if needed == 1 else "fish, well apart,"
    text = f"{needed} more {fish} on {found.better.name} and none on {found.behind.name} would make it 0.95"
    if ahead:
        text += f", at this pace in about {needed * found.hours / ahead:.1f} h"
    return text
