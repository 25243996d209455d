"""What to do in a session: the methods picked, how many rods, the timetable of both, and the bag."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.rules.bait import BagItem, BaitLife, bag_item, bait_life, crab_ground, tip_item
from tidecore.rules.method import Bait
from tidecore.rules.rod_plan import RodPlan, plan_rods
from tidecore.rules.tackle import TackleRemark, check_tackle
from tidecore.shore.fishability import REACH_WIND_M_PER_S
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import Timeline
from tidecore.units import AnyArray
from tidecore.windows.picks import MethodPick, MethodPicks

#: A method is planned with where its rank is at least this part of the best one's.
WORTH = 0.5
#: Sea over which one rod is an answer [m]; common practice.
SURF_M = 1.5
_DARK = ("nautical_twilight", "astronomical_twilight", "night")
#: What the advice on rods and reach looks at.
LOOKED_AT = ("weed_risk", "wave_height", "light", "crosswind", "sea_temperature")

RodReason = Literal["asked", "method", "weed", "surf", "rock_at_night"]
SessionRemarkKind = Literal[
    "one_rod", "rods_unknown", "fast_bites", "reach_cut", "bait_life", "no_method", "lead_drags"
]


@dataclass(frozen=True, slots=True)
class SessionRemark:
    """Something to know about a session: what sort, and in words. Numbers in it are common practice."""

    kind: SessionRemarkKind
    text: str


@dataclass(frozen=True, slots=True)
class MethodRemark:
    """A remark about the tackle of one of the methods, by its place in the list given."""

    place: int
    remark: TackleRemark


@dataclass(frozen=True, slots=True)
class SessionPlan:
    """The plan of a session; None of it, and a remark, where no method was picked.

    ``used`` are the picks that the plan goes by: `RodState.method` is a place among them. ``lives`` are the baits of
    their methods with how long each lasts.
    """

    used: tuple[MethodPick, ...]
    rods: RodPlan | None
    reasons: tuple[RodReason, ...]
    lives: tuple[tuple[Bait, BaitLife], ...]
    bag: tuple[BagItem, ...]
    remarks: tuple[SessionRemark, ...]
    tackle: tuple[MethodRemark, ...]


def two_rods(
    picked: MethodPicks,
    timeline: Timeline,
    rods: int = 2,
    *,
    sea_temperature_c: float | None = None,
    on_crab_ground: bool | None = None,
) -> SessionPlan:
    """Return the plan of a session with the methods picked for it.

    One rod is an answer though two are asked for: where the best method is worked with one, the risk of weed is high,
    the sea is over 1.5 m, or on a rock ledge in the dark.

    Parameters
    ----------
    picked : MethodPicks
        What `pick_methods` returned for the timeline.
    timeline : Timeline
        The mark.
    rods : int
        How many rods are asked for, 1 or 2.
    sea_temperature_c : float, optional
        Temperature of the sea as somebody measured it [degC]; that of the timeline, its mean over the session, unless
        given.
    on_crab_ground : bool, optional
        Whether there are crabs; by the beds of the mark unless given, and unknown where they do not say.

    Raises
    ------
    InvalidInput
        If the rods are neither 1 nor 2.
    """
    minutes = (picked.span.end_us - picked.span.start_us) / US_PER_MINUTE
    middle_us = np.linspace(picked.span.start_us, picked.span.end_us, max(2, int(minutes // 10) + 1))
    columns = timeline.at(middle_us, LOOKED_AT)
    if sea_temperature_c is None:
        known = columns["sea_temperature"][~np.isnan(columns["sea_temperature"])]
        sea_temperature_c = float(known.mean()) if known.size else None
    if on_crab_ground is None:
        on_crab_ground = crab_ground(timeline.mark.all_beds)
    if not picked.picks:
        none = SessionRemark("no_method", "no method is for these species on this ground")
        return SessionPlan((), None, (), (), (), (none,), ())
    best = picked.picks[0].rank
    used = tuple(one for one in picked.picks if one.rank >= WORTH * best)
    methods = [one.method for one in used]
    baits = dict.fromkeys(bait for method in methods for bait in method.baits)
    lives = {bait: bait_life(bait.kind, sea_temperature_c, on_crab_ground) for bait in baits}
    reasons, remarks = _one_rod(rods, methods[0].rods, timeline, columns)
    plan = plan_rods(methods, lives, minutes, 1 if rods == 2 and reasons else rods)
    remarks += _dragging(used)
    remarks += _remarks(columns, plan, list(dict.fromkeys(life.text for life in lives.values() if life.from_min)))
    tackle = tuple(
        MethodRemark(one.place, remark)
        for one in used
        for remark in check_tackle(one.method)
    )  # fmt: skip
    return SessionPlan(used, plan, reasons, tuple(lives.items()), _bag(plan, lives), tuple(remarks), tackle)


def _one_rod(
    asked: int, by_method: int, timeline: Timeline, columns: dict[str, AnyArray]
) -> tuple[tuple[RodReason, ...], list[SessionRemark]]:
    """Return why one rod is the answer, none where two are; and what was unknown about that."""
    if asked != 2:
        return ("asked",) if asked == 1 else (), []
    waves, weed = columns["wave_height"], columns["weed_risk"]
    ledge = timeline.mark.kind == "rock_ledge"
    found: dict[RodReason, tuple[bool, str]] = {
        "method": (by_method == 1, "the best method is worked with one rod"),
        "weed": (bool((weed == "high").any()), "the risk of weed is high"),
        "surf": (bool((waves > SURF_M).any()), f"the sea is over {SURF_M:g} m"),
        "rock_at_night": (ledge and bool(np.isin(columns["light"], _DARK).any()), "it is a rock ledge in the dark"),
    }
    reasons = tuple(reason for reason, (holds, _) in found.items() if holds)
    remarks = []
    if reasons:
        remarks.append(SessionRemark("one_rod", f"one rod: {'; '.join(found[one][1] for one in reasons)}"))
    unknown = [
        name for name, known in (("weed", weed != ""), ("the sea", ~np.isnan(waves))) if not np.asarray(known).all()
    ]
    if unknown and not reasons:
        text = f"{' and '.join(unknown)} unknown for some or all of it: look first; in weed or surf fish one rod"
        remarks.append(SessionRemark("rods_unknown", text))
    return reasons, remarks


def _dragging(used: Sequence[MethodPick]) -> list[SessionRemark]:
    """Return which leads of a plan do not hold, or may not: heavier with wires, nearer, or nearer slack."""
    return [
        SessionRemark("lead_drags", f"{one.method.name}: {one.lead.text}; fish nearer, heavier or nearer slack")
        for one in used
        if one.lead.verdict in ("marginal", "does_not_hold")
    ]


def _remarks(columns: dict[str, AnyArray], plan: RodPlan, lives: Sequence[str]) -> list[SessionRemark]:
    found = []
    if plan.rods == 2:
        found.append(SessionRemark("fast_bites", "when bites come fast, fish one rod"))
    # Nothing is over it where the wind is not known.
    if (columns["crosswind"] > REACH_WIND_M_PER_S).any():
        text = f"wind of over {REACH_WIND_M_PER_S:g} m/s on to the shore or across cuts the reach by about a third"
        found.append(SessionRemark("reach_cut", text))
    return [*found, *(SessionRemark("bait_life", text) for text in lives)]


def _bag(plan: RodPlan, lives: dict[Bait, BaitLife]) -> tuple[BagItem, ...]:
    """Return what to take for the plan, in the order in which it is used; what baits are tipped with last."""
    found: dict[tuple[str, str], BagItem] = {}
    tips: dict[str, BagItem] = {}
    for bait, rod_minutes in plan.rod_minutes().items():
        item = bag_item(bait, rod_minutes, lives[bait])
        key = (bait.name.casefold(), bait.kind)
        found[key] = item if key not in found else _together(found[key], item)
        if bait.cocktail is not None:
            tip, name = tip_item(bait.cocktail, item.minutes, item.changes), bait.cocktail.casefold()
            tips[name] = tip if name not in tips else _together(tips[name], tip)
    return (*found.values(), *tips.values())


def _together(one: BagItem, other: BagItem) -> BagItem:
    """Return the sum of two items of one bait, in different sizes or cocktails."""
    return BagItem(
        one.bait,
        one.kind,
        one.minutes + other.minutes,
        _sum(one.changes, other.changes),
        _sum(one.amount, other.amount),
        one.counted,
        f"{one.text}; and {other.text}",
    )


def _sum(one: tuple[int, int] | None, other: tuple[int, int] | None) -> tuple[int, int] | None:
    return None if one is None or other is None else (one[0] + other[0], one[1] + other[1])
