"""Whether the lines of a method stand the cast: the strength and length of its shock leader."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from tidecore.rules.method import Method, ShockLeader

GRAMS_AN_OUNCE = 28.349523125
#: Strength of a leader for each ounce that is cast [lb]; common practice.
LEADER_LB_AN_OUNCE = 10.0
#: Leaders come in steps of so much [lb]; common practice.
_LEADER_STEP_LB = 10.0
#: Rod lengths of a leader, and turns on the reel besides, from and to; common practice.
LEADER_ROD_LENGTHS = 2.0
LEADER_TURNS = (6.0, 8.0)

TackleRemarkKind = Literal["leader_weak", "leader_short", "leader_long", "leader_missing", "not_assessed"]


@dataclass(frozen=True, slots=True)
class LeaderNeed:
    """What a cast asks of the leader.

    ``cast_g`` is what is cast [g], ``exact_lb`` 10 lb for each ounce of it, ``right_lb`` the next strength up that
    leaders come in.
    """

    cast_g: float
    exact_lb: float
    right_lb: float


@dataclass(frozen=True, slots=True)
class TackleRemark:
    """Something about the tackle of a method that is not right, or cannot be told: no fault, the method stands.

    ``path`` is where in the method, ``problem`` what it is, ``better`` what would be right.
    """

    path: str
    kind: TackleRemarkKind
    problem: str
    better: str


def leader_needed(cast_g: float) -> LeaderNeed:
    """Return the leader for a weight of lead and bait [g]: 10 lb for each ounce, common practice.

    150 g are 5.3 oz and ask for 53 lb, so a leader of 60 lb.
    """
    exact = LEADER_LB_AN_OUNCE * cast_g / GRAMS_AN_OUNCE
    steps = max(1, math.ceil(exact / _LEADER_STEP_LB - 1e-9))
    return LeaderNeed(cast_g, exact, steps * _LEADER_STEP_LB)


def cast_weight_g(method: Method) -> tuple[float, bool] | None:
    """Return the weight of lead and heaviest bait [g], and whether that bait's is known; None without a lead.

    A bait whose weight is not said is left out, and the second value is then False: the weight is a least one.
    """
    if method.lead is None:
        return None
    said = [bait.grams for bait in method.baits if bait.kind != "lure"]
    heaviest = max((grams for grams in said if grams is not None), default=0.0)
    return method.lead.grams + heaviest, None not in said


def check_tackle(method: Method) -> tuple[TackleRemark, ...]:
    """Return what is not right with the shock leader of a method, and what would be.

    A main line that stands the cast by itself needs none; without a lead nothing is asked.
    """
    weighed = cast_weight_g(method)
    if weighed is None:
        return ()
    need, certain = leader_needed(weighed[0]), weighed[1]
    least = "" if certain else "at least "
    asks = f"{need.cast_g:.0f} g ask for {least}{need.exact_lb:.0f} lb (10 lb for each ounce of lead and bait)"
    right = (
        f"a leader of {least}{need.right_lb:.0f} lb, {LEADER_ROD_LENGTHS:g} rod lengths and "
        f"{LEADER_TURNS[0]:g} to {LEADER_TURNS[1]:g} turns on the reel"
    )
    remarks = []
    leader, line = method.leader, method.main_line
    if leader is None:
        strength = None if line is None else line.strength_lb
        if strength is None:
            problem = f"is missing, and the strength of the main line is not said; {asks}"
            remarks.append(TackleRemark("leader", "not_assessed", problem, f"{right}; or that of the main line"))
        elif strength < need.exact_lb:
            problem = f"is missing, and the main line of {strength:g} lb does not stand the cast: {asks}"
            remarks.append(TackleRemark("leader", "leader_missing", problem, right))
    else:
        if leader.strength_lb < need.exact_lb:
            remarks.append(
                TackleRemark("leader.strength_lb", "leader_weak", f"is {leader.strength_lb:g} lb; {asks}", right)
            )
        remarks += _length(leader)
    if not certain:
        problem = "the weight of a bait is not said, and is left out of what the leader must stand"
        remarks.append(TackleRemark("baits", "not_assessed", problem, "grams of every bait"))
    return tuple(remarks)


def _length(leader: ShockLeader) -> list[TackleRemark]:
    """Return what is not right with the length of a leader."""
    found = []
    low, high = LEADER_TURNS
    right = f"{LEADER_ROD_LENGTHS:g} rod lengths and {low:g} to {high:g} turns on the reel"
    if leader.rod_lengths is not None and leader.rod_lengths < LEADER_ROD_LENGTHS:
        problem = f"is {leader.rod_lengths:g} rod lengths, too short for the cast"
        found.append(TackleRemark("leader.rod_lengths", "leader_short", problem, right))
    if leader.turns is not None and leader.turns < low:
        problem = f"is {leader.turns:g} turns, so that the knot lies free at the cast"
        found.append(TackleRemark("leader.turns", "leader_short", problem, right))
    if leader.turns is not None and leader.turns > high:
        found.append(TackleRemark("leader.turns", "leader_long", f"is {leader.turns:g} turns", right))
    missing = [name for name in ("rod_lengths", "turns") if getattr(leader, name) is None]
    if missing:
        problem = f"{' and '.join(missing)} not said"
        found.append(TackleRemark("leader", "not_assessed", problem, right))
    return found
