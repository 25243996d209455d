"""Two rods side by side: what to do now, by what a caller tells or by a trip on record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from tidecore.catchstats import Habits, RodLog, TwoRodAdvice, advise
from tidecore.catchstats.two_rods import Hindrance
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


def _totals(rod: RodLog, now_us: int, fish: int, bites: int) -> RodTotals:
    spans = np.minimum(rod.bait_on, now_us)
    on_us = int((spans[:, 1] - spans[:, 0]).sum())
    return RodTotals(rod.name, on_us, _up_to(rod.catches, now_us) - fish, _up_to(rod.bites, now_us) - bites)


def _up_to(times: IntArray, now_us: int) -> int:
    return int((times <= now_us).sum())
