"""Where to set up and when to move: pegs on ground that stays dry, as far out as that allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.errors import Fault, InvalidInput
from tidecore.roots.brackets import TimeFunction, edges, maxima, sample_times
from tidecore.shore.ground import Ground
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND
from tidecore.units import FloatArray, IntArray

#: Ground that the largest run-up comes within so far of is no ground to stand on [m]: the scatter of the run-up
#: formula for sand, RMS 0.38 m.
REACH_MARGIN_M = 0.38
#: How far it is from one peg to the next [m], how long before the water comes one moves, and the shortest stay that
#: a move is worth [min]. Common practice.
PEG_STEP_M, NOTICE_MIN, LEAST_STAY_MIN = 20.0, 10.0, 20.0
#: Most pegs of a plan.
MOST_PEGS = 2000

_STEP_US = 2 * US_PER_MINUTE
_TOLERANCE_US = 0.05 * US_PER_SECOND


@dataclass(frozen=True, slots=True)
class PegMove:
    """To set up at a peg, or to move to it.

    ``distance_m`` is where it is on the profile and ``level_m`` its ground. ``metres`` is how far it is from the peg
    before, seaward positive, and ``minutes`` the time since one came there; both 0 for the first. ``reached_us`` is
    when the water comes to the peg; None where it does not as long as the plan looks ahead.
    """

    time_us: int
    distance_m: float
    level_m: float
    metres: float
    minutes: float
    reached_us: int | None


@dataclass(frozen=True, slots=True)
class Pegs:
    """Moves in time order, and when there is no peg that stays dry: ``without`` are spans [microseconds]."""

    moves: tuple[PegMove, ...]
    without: tuple[tuple[int, int], ...]


def peg_plan(
    limit: TimeFunction,
    ground: Ground,
    start_us: int,
    end_us: int,
    step_m: float = PEG_STEP_M,
    notice_min: float = NOTICE_MIN,
    least_stay_min: float = LEAST_STAY_MIN,
) -> Pegs:
    """Return where to set up and when to move, up the shore with the flood and down it with the ebb.

    Parameters
    ----------
    limit : callable
        Array of microseconds since 1970 -> level that no peg may be reached by [m above the zero of the ground]: that
        of the largest run-up and `REACH_MARGIN_M` on it. Asked for as far as ``notice_min`` past the end.
    ground : Ground
        The profile.
    start_us, end_us : int
        The time fished [microseconds since 1970].
    step_m : float
        Distance of the pegs [m], over 0; they lie at whole multiples of it along the profile.
    notice_min, least_stay_min : float
        How long before the limit comes to a peg it is left, and the shortest stay at one [min], 0 or more.

    Returns
    -------
    Pegs
        At each instant the outermost peg that all ground landward of it, and itself, lies over the limit until
        ``notice_min`` later, and that is worth a stay. So there is never water behind, and none comes to the peg.

    Raises
    ------
    InvalidInput
        For steps and times that are none, or more pegs than `MOST_PEGS`.
    """
    _check(start_us, end_us, step_m, notice_min, least_stay_min)
    notice = round(notice_min * US_PER_MINUTE)
    horizon = end_us + notice
    times = _samples(limit, start_us, horizon)
    levels = limit(times)
    edge = ground.waterline(np.array([levels.max(), levels.min()]))
    inner, outer = np.clip(edge, ground.distances[0], ground.distances[-1])
    first = max(int(np.floor(inner / step_m)), int(np.ceil(ground.distances[0] / step_m)))
    last = int(np.floor(outer / step_m))
    count = last - first + 1
    if count > MOST_PEGS:
        fits = np.ceil(100.0 * (outer - inner) / (MOST_PEGS - 2)) / 100.0
        raise InvalidInput(Fault("step_m", f"is {step_m:g}, which makes {count} pegs", f"{fits:g} or more"))
    places = np.arange(first, last + 1)
    reach = ground.level_of_reach(places * step_m)
    spans = _open_spans(limit, reach, times, levels)
    # Whoever comes for less than a move is worth still stands somewhere.
    least = notice + min(round(least_stay_min * US_PER_MINUTE), end_us - start_us)
    worth = spans[:, 2] - spans[:, 1] >= least
    return _walked(spans[worth] - np.array([0, 0, notice]), first, step_m, ground, (start_us, end_us), notice)


def _check(start_us: int, end_us: int, step_m: float, notice_min: float, least_stay_min: float) -> None:
    faults = [] if 0.0 < step_m < np.inf else [Fault("step_m", f"is {step_m!r}", "a positive number of metres")]
    for name, value in (("notice_min", notice_min), ("least_stay_min", least_stay_min)):
        if not 0.0 <= value < np.inf:
            faults.append(Fault(name, f"is {value!r}", "0 minutes or more"))
    if end_us <= start_us:
        faults.append(Fault("end", "is not after the start", "a span that runs forwards"))
    if faults:
        raise InvalidInput(faults)


def _samples(limit: TimeFunction, start_us: int, end_us: int) -> FloatArray:
    """Return instants between which the limit only rises or only falls, both ends among them."""
    even = sample_times(start_us, end_us, _STEP_US)
    tops = maxima(limit, start_us, end_us, _STEP_US).times_us
    dips = maxima(lambda at: -limit(at), start_us, end_us, _STEP_US).times_us
    return np.unique(np.concatenate((even, tops, dips)))


def _open_spans(limit: TimeFunction, reach: FloatArray, times: FloatArray, levels: FloatArray) -> IntArray:
    """Return when each place lies over the limit: rows of its number, start and end, cut at the ends looked at."""
    is_open = reach[:, None] > levels[None, :]
    place, k = np.nonzero(is_open[:, 1:] != is_open[:, :-1])
    wanted = reach[place]
    passed = np.rint(edges(lambda at: wanted > limit(at), times[k], times[k + 1], _TOLERANCE_US)).astype(np.int64)
    of_each = np.split(passed, np.searchsorted(place, np.arange(1, reach.size)))
    rows: list[tuple[int, int, int]] = []
    for one, at in enumerate(of_each[: reach.size]):
        borders = at.tolist()
        if is_open[one, 0]:
            borders.insert(0, int(times[0]))
        if is_open[one, -1]:
            borders.append(int(times[-1]))
        rows += [(one, start, end) for start, end in zip(borders[::2], borders[1::2], strict=True)]
    return np.array(rows, dtype=np.int64).reshape(-1, 3)


def _walked(stays: IntArray, first: int, step_m: float, ground: Ground, span: tuple[int, int], notice: int) -> Pegs:
    """Return the moves between the outermost of the places that are open, which lie one within the other in time."""
    events = sorted([(at, 1) for at in stays[:, 1].tolist()] + [(at, -1) for at in stays[:, 2].tolist()])
    ends: dict[int, list[int]] = {}
    for place, _, end in stays.tolist():
        ends.setdefault(place, []).append(end)
    found: list[PegMove] = []
    without: list[tuple[int, int]] = []
    count, stood, bare_since = 0, 0, span[0]
    for k, (time_us, change) in enumerate(events):
        count += change
        if (k + 1 < len(events) and events[k + 1][0] == time_us) or count == stood or time_us >= span[1]:
            continue
        if stood == 0 and time_us > bare_since:
            without.append((bare_since, time_us))
        if count == 0:
            bare_since = time_us
        else:
            distance = (first + count - 1) * step_m
            before = found[-1] if found else None
            left = min(end for end in ends[count - 1] if end > time_us)
            reached = left + notice if left < span[1] else None
            found.append(
                PegMove(
                    time_us,
                    distance,
                    float(ground.level_at(distance)),
                    0.0 if before is None else distance - before.distance_m,
                    0.0 if before is None else (time_us - before.time_us) / US_PER_MINUTE,
                    reached,
                )
            )
        stood = count
    if stood == 0 and bare_since < span[1]:
        without.append((bare_since, span[1]))
    return Pegs(tuple(found), tuple(without))
