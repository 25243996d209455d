"""What each rod does over a session: two search differently, and one thing is changed at a time."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import cycle
from typing import Literal, TypeVar

from tidecore.errors import Fault, InvalidInput
from tidecore.rules.bait import BaitLife
from tidecore.rules.method import Bait, Method

#: Baits, and minutes, before a change is judged; common practice.
JUDGE_BAITS = (2, 3)
JUDGE_MIN = (30.0, 40.0)
#: Longest and shortest session [min].
LONGEST_MIN, SHORTEST_MIN = 1440.0, 15.0

Change = Literal["start", "range", "bait", "rig", "keep"]
Search = Literal["near", "far", "alone"]
T = TypeVar("T")
#: What is changed, one after the other.
ORDER: tuple[Literal["range", "bait", "rig"], ...] = ("range", "bait", "rig")


@dataclass(frozen=True, slots=True)
class RodState:
    """What one rod does: method (its place in the list given), reach from the waterline [m], and bait."""

    rod: int
    search: Search
    method: int
    reach_m: float
    bait: Bait

    @property
    def bait_name(self) -> str:
        """The bait with what it is tipped with."""
        return self.bait.name if self.bait.cocktail is None else f"{self.bait.name} tipped with {self.bait.cocktail}"


@dataclass(frozen=True, slots=True)
class Step:
    """A part of the plan: minutes since the first cast, what was changed on which rod, and all rods since then.

    ``rod`` is 0 where no single rod was changed.
    """

    start_min: float
    end_min: float
    rod: int
    change: Change
    rods: tuple[RodState, ...]
    text: str


@dataclass(frozen=True, slots=True)
class RodPlan:
    """The plan of a session: how many rods, why they differ, how long before judging [min], and the steps."""

    rods: int
    why: str
    judge_min: float
    steps: tuple[Step, ...]

    def rod_minutes(self) -> dict[Bait, list[float]]:
        """Return how long each rod has each bait on [min]."""
        found: dict[Bait, dict[int, float]] = {}
        for step in self.steps:
            for state in step.rods:
                by_rod = found.setdefault(state.bait, {})
                by_rod[state.rod] = by_rod.get(state.rod, 0.0) + step.end_min - step.start_min
        return {bait: list(minutes.values()) for bait, minutes in found.items()}


def judging_min(life_min: float | None) -> float:
    """Return how long to wait before a change is judged [min]: 2 to 3 baits, or 30 to 40 min.

    Baits that last up to 10 min are judged by three, longer ones by 30 min or two of them, at most 40 min. What is not
    changed for its age is given 30 min.
    """
    if life_min is None:
        return JUDGE_MIN[0]
    few, many = JUDGE_BAITS
    return min(max(few * life_min, min(many * life_min, JUDGE_MIN[0])), JUDGE_MIN[1])


def pair(methods: Sequence[Method]) -> tuple[int, int]:
    """Return the places of the two methods for two rods: the first, and the one that searches most differently.

    Differently in reach (near and far, by a tenth or more) first, then in the size of hook (bold and fine); of equals
    the earlier. The same place twice says that no other searches differently. Methods for one rod are no partners.
    """
    first = methods[0]
    best, place = (0.0, 0), 0
    for k, other in enumerate(methods[1:], 1):
        apart = abs(math.log((other.reach.middle_m + 1.0) / (first.reach.middle_m + 1.0)))
        differs = (round(apart, 1), abs(other.boldness - first.boldness))
        if other.rods > 1 and differs > best:
            best, place = differs, k
    return 0, place


def plan_rods(methods: Sequence[Method], lives: Mapping[Bait, BaitLife], minutes: float, rods: int) -> RodPlan:
    """Return the timetable of one rod or two.

    Two rods start near and far, by the methods of `pair`; each keeps to its own side of the other. At every judging
    one thing is changed on one rod, by turns: the range, then the bait, then the rig, and round again; the other rod
    stays as it is, so that a difference can be told.

    Parameters
    ----------
    methods : sequence of Method
        Best first, at least one.
    lives : mapping of Bait to BaitLife
        How long each of their baits lasts.
    minutes : float
        How long is fished [min].
    rods : int
        1 or 2; a first method for one rod makes it 1.

    Raises
    ------
    InvalidInput
        If there is no method, or the minutes or rods are none.
    """
    faults = []
    if not methods:
        faults.append(Fault("methods", "is empty", "at least one method"))
    if not (math.isfinite(minutes) and SHORTEST_MIN <= minutes <= LONGEST_MIN):
        expected = f"{SHORTEST_MIN:g} to {LONGEST_MIN:g} min"
        faults.append(Fault("minutes", f"is {minutes:g}", expected))
    if rods not in (1, 2):
        faults.append(Fault("rods", f"is {rods}", "1 or 2"))
    if faults:
        raise InvalidInput(faults)
    two = rods == 2 and methods[0].rods == 2
    searches = _two(methods) if two else [_Rod(methods, 1, "alone", 0)]
    states = tuple(one.state for one in searches)
    known = [lives[one.bait].middle_min for one in states]
    wait = max(judging_min(life) for life in known)
    steps = [Step(0.0, minutes, 0, "start", states, "; ".join(_start(one, methods) for one in states))]
    turns = cycle(reversed(searches) if two else searches)
    at = wait
    # What is left must be worth judging too.
    while at + 0.5 * wait <= minutes:
        search = next(turns)
        others = tuple(one.state for one in searches if one is not search)
        change = search.change(others)
        states = tuple(one.state for one in searches)
        steps[-1] = replace(steps[-1], end_min=at)
        steps.append(Step(at, minutes, search.state.rod, change, states, _said(search.state, change, methods)))
        at += wait
    return RodPlan(len(searches), _why(states, methods) if two else "one rod", wait, tuple(steps))


def _two(methods: Sequence[Method]) -> list[_Rod]:
    """Return the near search, then the far one."""
    near, far = sorted(pair(methods), key=lambda k: methods[k].reach.middle_m)
    return [_Rod(methods, 1, "near", near), _Rod(methods, 2, "far", far)]


class _Rod:
    """One rod on its way: what it does now, and what it would change next."""

    def __init__(self, methods: Sequence[Method], rod: int, search: Search, method: int) -> None:
        self._methods, self._turn = methods, 0
        first = methods[method]
        bait = first.baits[1 if search == "far" and len(first.baits) > 1 and _alone(methods) else 0]
        self._stations = _stations(first, search)
        self._baits = [bait, *(one for one in first.baits if one != bait)]
        self.state = RodState(rod, search, method, self._stations[0], bait)

    def change(self, others: Sequence[RodState]) -> Change:
        """Change one thing, the next in `ORDER` that there is another of; ``"keep"`` where there is none."""
        for _ in ORDER:
            kind = ORDER[self._turn % len(ORDER)]
            self._turn += 1
            changed = self._changed(kind, others)
            if changed is not None:
                self.state = changed
                return kind
        return "keep"

    def _changed(self, kind: Change, others: Sequence[RodState]) -> RodState | None:
        """Return the state with the next range, bait or rig; None where there is no other."""
        state = self.state
        if kind == "range":
            reach = _after(self._stations, state.reach_m)
            return None if reach == state.reach_m else replace(state, reach_m=reach)
        if kind == "bait":
            bait = _after(self._baits, state.bait)
            return None if bait == state.bait else replace(state, bait=bait)
        rigs = [k for k in self._rigs(others) if k != state.method]
        later = [k for k in rigs if k > state.method] or rigs
        return replace(state, method=later[0]) if later else None

    def _rigs(self, others: Sequence[RodState]) -> list[int]:
        """Return the methods whose rig could be tied on instead: another rig, no other rod's, the reach within it."""
        state, taken = self.state, {one.method for one in others}
        now = self._methods[state.method]
        return [
            k
            for k, one in enumerate(self._methods)
            if k not in taken
            and (one.rig, one.style, one.hooks) != (now.rig, now.style, now.hooks)
            and one.reach.from_m <= state.reach_m <= one.reach.to_m
            and (one.baits[0].kind == "lure") == (state.bait.kind == "lure")
            and (one.rods == 2 or not others)
        ]


def _alone(methods: Sequence[Method]) -> bool:
    """Return whether both rods have the same method."""
    first, second = pair(methods)
    return first == second


def _stations(method: Method, search: Search) -> list[float]:
    """Return the distances that a rod searches [m], in order: from its own end of the reach a third inwards."""
    low, high = method.reach.from_m, method.reach.to_m
    third = (high - low) / 3.0
    found = {"near": [low, low + third], "far": [high, high - third], "alone": [low, low + 0.5 * (high - low), high]}
    return found[search]


def _after(items: Sequence[T], now: T) -> T:
    place = items.index(now)
    return items[(place + 1) % len(items)]


def _start(state: RodState, methods: Sequence[Method]) -> str:
    return f"rod {state.rod}: {methods[state.method].name}, {state.reach_m:.0f} m, {state.bait_name}"


def _said(state: RodState, change: Change, methods: Sequence[Method]) -> str:
    said = {
        "range": f"range to {state.reach_m:.0f} m",
        "bait": f"bait to {state.bait_name}",
        "rig": f"rig to that of {methods[state.method].name}",
    }
    if change not in said:
        return f"rod {state.rod}: nothing else to change, keep on"
    return f"rod {state.rod}, if it has no bites: {said[change]}, nothing else"


def _why(states: Sequence[RodState], methods: Sequence[Method]) -> str:
    near, far = (methods[one.method] for one in states)
    text = f"near and far: {states[0].reach_m:.0f} m and {states[1].reach_m:.0f} m at first"
    if near.boldness != far.boldness:
        bold, fine = ("near", "far") if near.boldness > far.boldness else ("far", "near")
        text += f"; bold and fine: the {bold} rod has the larger hooks, the {fine} rod the smaller"
    elif states[0].bait != states[1].bait:
        text += "; two baits"
    return text
