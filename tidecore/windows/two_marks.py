"""Two marks in one outing: the reef over low water, then the beach on the flood."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tidecore.timebase import US_PER_MINUTE
from tidecore.units import IntArray
from tidecore.windows.curves import MarkSearch
from tidecore.windows.options import SessionOptions
from tidecore.windows.outings import EQUAL_H, TRIED_US, Outing, fishable_chains, leg_at, outing_of, stays

#: Moving to another mark must be worth so much more than staying at one; common practice.
WORTH_MOVING = 1.1


def find_double_outings(
    first: MarkSearch,
    second: MarkSearch,
    options: SessionOptions,
    drive_min: float,
    free_us: IntArray | None = None,
    travel_min: tuple[float, float] = (0.0, 0.0),
    single: Sequence[Outing] = (),
) -> list[Outing]:
    """Return the outings that fish one mark and then another, in time order.

    The way to the first mark, the drive between them and the way back from the second lie in one free span; the whole
    lasts no longer than the longest session. When to change, and how much of each mark to take, is what makes the
    integral of the best score largest, tried every five minutes.

    Parameters
    ----------
    first, second : MarkSearch
        What the rules find at the two marks.
    options : SessionOptions
        How an angler goes out.
    drive_min : float
        From the one to the other [min].
    free_us : int64 array, shape ``(n, 2)``, optional
        Free time [microseconds since 1970]; the span of the searches unless given.
    travel_min : pair of float
        The way to the first mark and that back from the second [min].
    single : sequence of Outing
        Outings to one mark: an outing to two is kept where it is worth a tenth more than each of those at its marks
        which it overlaps.
    """
    there, back = (round(one * US_PER_MINUTE) for one in travel_min)
    change = options.pack_up_us + round(drive_min * US_PER_MINUTE) + options.set_up_us
    second_chains = list(fishable_chains(second, stays(second, free_us, 0.0, travel_min[1]), options))
    found = []
    for opens, closes, (start, end) in fishable_chains(first, stays(first, free_us, travel_min[0], 0.0), options):
        for later_opens, later_closes, later in second_chains:
            near = start < later[1] and later[0] - end <= change + options.lull_us
            if not near or not _one_span(free_us, opens, later_closes):
                continue
            spans = _best_change(first, second, (start, end, closes), (*later, later_opens), change, options)
            if spans is not None:
                legs = (leg_at(first, *spans[0], options), leg_at(second, *spans[1], options))
                if legs[0].rule_hours and legs[1].rule_hours:
                    found.append(outing_of(legs, (first, second), there, back))
    return _worth_moving(found, single)


def _one_span(free_us: IntArray | None, early_us: int, late_us: int) -> bool:
    """Return whether two instants lie in one free span."""
    if free_us is None:
        return True
    place = int(np.searchsorted(free_us[:, 0], early_us, side="right")) - 1
    return place >= 0 and late_us <= int(free_us[place, 1])


def _best_change(
    first: MarkSearch,
    second: MarkSearch,
    early: tuple[int, int, int],
    late: tuple[int, int, int],
    change: int,
    options: SessionOptions,
) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """Return the fishing at each mark that is worth most; None where both do not fit.

    ``early``: windows of the first mark from, to, and when its fishing ends at the latest. ``late``: windows of the
    second from, to, and when its fishing may begin.
    """
    longest = round(options.most_h * 60.0 * US_PER_MINUTE) - options.set_up_us - options.pack_up_us
    least = round(options.least_h * 60.0 * US_PER_MINUTE) - options.set_up_us - options.pack_up_us
    starts = np.arange(early[0], early[1], TRIED_US, dtype=np.int64)
    ends = np.append(np.arange(early[0], early[1], TRIED_US, dtype=np.int64), early[1])
    start, end = (grid.ravel() for grid in np.meshgrid(starts, ends, indexing="ij"))
    begin = end + change
    stop = np.minimum(late[1], start + longest)
    fits = (end - start >= options.least_leg_us) & (stop - begin >= options.least_leg_us)
    fits &= (begin >= late[2]) & (end <= early[2]) & (stop - start >= least)
    # Nobody waits for longer than a lull.
    fits &= late[0] - begin <= options.lull_us
    if not fits.any():
        return None
    start, end, begin, stop = (one[fits] for one in (start, end, begin, stop))
    worth = first.best.total(end) - first.best.total(start) + second.best.total(stop) - second.best.total(begin)
    equal = np.flatnonzero(worth >= worth.max() - EQUAL_H)
    chosen = equal[int(np.argmin(stop[equal] - start[equal]))]
    return (int(start[chosen]), int(end[chosen])), (int(begin[chosen]), int(stop[chosen]))


def _worth_moving(found: Sequence[Outing], single: Sequence[Outing]) -> list[Outing]:
    """Return the outings that are worth more than staying, each best one of those that overlap, in time order."""
    kept: list[Outing] = []
    for one in sorted(found, key=lambda outing: (-outing.score_hours, *outing.order)):
        staying = [
            other.score_hours
            for other in single
            if other.marks[0] in one.marks and other.arrive_us < one.leave_us and other.leave_us > one.arrive_us
        ]
        moves = one.score_hours >= WORTH_MOVING * max(staying, default=0.0)
        apart = all(other.leave_us <= one.arrive_us or other.arrive_us >= one.leave_us for other in kept)
        if moves and apart:
            kept.append(one)
    return sorted(kept, key=lambda outing: outing.order)
