"""An order that shows what there is to choose from: not ten slices of one tide before the next tide is named."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from tidecore.timebase import US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray
from tidecore.windows.outings import Outing

#: What another outing is worth beside one already named: on the same tide at the same mark, on the same tide
#: elsewhere, on the same day at the same mark. A convention.
SAME_TIDE_SAME_MARK = 0.5
SAME_TIDE = 0.8
SAME_DAY_SAME_MARK = 0.7
#: High waters at two marks that lie nearer than this are of one tide.
_ONE_TIDE_US = 3 * US_PER_HOUR
#: So many are chosen one by one; those after them go by what they are worth beside these.
MOST_CHOSEN = 500


def diversified(
    outings: Sequence[Outing], worth: Sequence[float], days: Sequence[str], most: int = MOST_CHOSEN
) -> list[int]:
    """Return the places of outings in an order in which each is worth most beside those before it.

    Greedy: the first is that of the highest worth; what is like one chosen counts less from then on, by the factors
    of this module multiplied. Equals go by their time and their marks, so that the order of ``outings`` does not
    matter.

    Parameters
    ----------
    outings : sequence of Outing
        What is to be put in order.
    worth : sequence of float
        What each is worth alone.
    days : sequence of str
        The local date of each.
    most : int
        So many are wanted: those after them go by what they are worth beside these.
    """
    order = ordered(outings, worth)
    left = np.array([worth[k] for k in order], dtype=np.float64)
    tides = np.array([outings[k].tide_us for k in order], dtype=np.int64)
    groups = [outings[k].marks for k in order]
    columns = _numbers(mark for marks in groups for mark in marks)
    at = np.zeros((len(order), len(columns)), dtype=np.bool_)
    for row, marks in enumerate(groups):
        at[row, [columns[mark] for mark in marks]] = True
    dates = _numbers(days)
    day = np.array([dates[days[k]] for k in order], dtype=np.int64)
    chosen: list[int] = []
    for _ in range(min(len(order), most, MOST_CHOSEN)):
        best = int(np.argmax(left))
        chosen.append(best)
        left *= _beside(best, tides, at, day)
        left[best] = -np.inf
    rest = np.argsort(-left, kind="stable")[: len(order) - len(chosen)]
    chosen += rest.tolist()
    return [order[k] for k in chosen]


def _numbers(names: Iterable[str]) -> dict[str, int]:
    """Return a number for each name there is."""
    return {name: number for number, name in enumerate(dict.fromkeys(names))}


def _beside(chosen: int, tides: IntArray, at: BoolArray, day: IntArray) -> FloatArray:
    """Return by what the worth of each outing goes down once one is chosen."""
    one_mark = at @ at[chosen]
    one_tide = np.abs(tides - tides[chosen]) < _ONE_TIDE_US
    of_tide = np.where(one_tide, np.where(one_mark, SAME_TIDE_SAME_MARK, SAME_TIDE), 1.0)
    return np.where(one_mark & (day == day[chosen]), of_tide * SAME_DAY_SAME_MARK, of_tide)


def ordered(outings: Sequence[Outing], worth: Sequence[float]) -> list[int]:
    """Return the places of outings by what they are worth alone, the most first; equals by time and marks."""
    return sorted(range(len(outings)), key=lambda k: (-round(worth[k], 9), *outings[k].order))


def without_overlaps(outings: Sequence[Outing]) -> list[int]:
    """Return the places of those outings that one angler can make: none overlaps one before it, ways included."""
    kept: list[int] = []
    taken: list[tuple[int, int]] = []
    for place, one in enumerate(outings):
        away = (one.arrive_us - one.there_us, one.leave_us + one.back_us)
        if all(end <= away[0] or start >= away[1] for start, end in taken):
            kept.append(place)
            taken.append(away)
    return kept
