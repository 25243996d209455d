"""How fast the edge of the water moves, and when it has moved so far that an angler moves with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tidecore.errors import Fault, InvalidInput
from tidecore.roots.brackets import TimeFunction
from tidecore.shore.ground import Ground
from tidecore.shore.turning_back import covered_spans
from tidecore.timebase import US_PER_MINUTE
from tidecore.units import FloatArray


@dataclass(frozen=True, slots=True)
class Move:
    """A move of ``metres`` seaward (negative: landward) to where the waterline then is.

    ``minutes`` is the time since the move before, or since the start.
    """

    time_us: int
    waterline_m: float
    metres: float
    minutes: float


def edge_speed(ground: Ground, still: ArrayLike, rate: ArrayLike) -> FloatArray:
    """Return how fast the edge of the water moves seaward [m/h], landward negative; NaN off the profile.

    ``still`` are levels [m above the zero of the ground], ``rate`` how fast they rise [m/h].

    Examples
    --------
    >>> from tidecore.shore.ground import plane_ground
    >>> edge_speed(plane_ground(1 / 80), [0.0], [1.0]).round(6).tolist()
    [-80.0]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return 0.0 - np.asarray(rate, dtype=np.float64) / ground.local_slope(still)


def moves(level: TimeFunction, ground: Ground, start_us: int, end_us: int, step_m: float) -> tuple[Move, ...]:
    """Return the moves that keep an angler at the edge of the water, one each time it has gone ``step_m`` further.

    Parameters
    ----------
    level : callable
        Array of microseconds since 1970 -> still level [m above the zero of the ground].
    ground : Ground
        The profile.
    start_us, end_us : int
        The time fished [microseconds since 1970].
    step_m : float
        How far the edge goes between two moves [m], over 0.

    Returns
    -------
    tuple of Move
        In time order. Where the edge jumps over a bar one move is as long as the jump. Moves off the profile are not
        told; there are none where the waterline is off the profile at the start.
    """
    if not 0.0 < step_m < np.inf:
        raise InvalidInput(Fault("step_m", f"is {step_m!r}", "a positive number of metres"))
    origin = float(ground.waterline(level(np.array([float(start_us)])))[0])
    if not np.isfinite(origin):
        return ()
    events: list[tuple[int, int, bool]] = []
    first = int(np.ceil((ground.distances[0] - origin) / step_m))
    last = int(np.floor((ground.distances[-1] - origin) / step_m))
    if ground.plane:
        first, last = _reached(level, ground, start_us, end_us, origin, step_m)
    for place in range(first, last + 1):
        reach = float(ground.level_of_reach(origin + place * step_m))
        for covered, dry in covered_spans(level, reach, start_us, end_us).tolist():
            if covered > start_us:
                events.append((covered, -place, True))
            if dry < end_us:
                events.append((dry, place, False))
    return _walked(sorted(events), origin, step_m, start_us)


def _reached(
    level: TimeFunction, ground: Ground, start_us: int, end_us: int, origin: float, step_m: float
) -> tuple[int, int]:
    """Return the outermost places that the edge comes to on a plane, which has no ends of its own."""
    samples = level(np.linspace(start_us, end_us, 2 + (end_us - start_us) // (10 * US_PER_MINUTE)))
    ends = (ground.waterline(np.array([samples.max(), samples.min()])) - origin) / step_m
    return int(np.floor(ends[0])) - 1, int(np.ceil(ends[1])) + 1


def _walked(events: list[tuple[int, int, bool]], origin: float, step_m: float, start_us: int) -> tuple[Move, ...]:
    """Return the moves that follow from the instants at which the edge passes even places."""
    found: list[Move] = []
    here, stood, since = 0, 0, start_us
    for k, (time_us, signed, rising) in enumerate(events):
        place = -signed if rising else signed
        if (rising and place < here) or (not rising and place > here):
            here = place
        if here != stood and (k + 1 == len(events) or events[k + 1][0] != time_us):
            found.append(
                Move(time_us, origin + here * step_m, (here - stood) * step_m, (time_us - since) / US_PER_MINUTE)
            )
            stood, since = here, time_us
    return tuple(found)
