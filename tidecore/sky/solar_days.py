"""What happens in the sky over a place, by runs of whole local solar days that the process keeps.

Runs are anchored to 1970, and what is found on a day is the same whatever it is looked for together with
(`tidecore.sky.passages`): a span answered from what is kept has the events of one that is worked out.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from threading import Lock
from typing import NamedTuple

import numpy as np

from tidecore.sky import ephemeris
from tidecore.sky.passages import Passages, Stretch, find_passages
from tidecore.sky.positions import sky_positions
from tidecore.sky.topocentre import observer
from tidecore.timebase import US_PER_DAY, TimeSpan, from_microseconds
from tidecore.units import FloatArray, IntArray

#: Days of a run.
_RUN_DAYS = 8
#: Runs that are kept, those used last: some 3 kB each, so that fifty places have a year and a half.
_MOST_KEPT = 4096
#: Local solar days that the ephemeris covers, and one more at either end, which its padding reaches.
_FIRST_DAY = int(ephemeris.FIRST_DAY.astype("datetime64[D]").astype(np.int64)) - 1
_END_DAY = int(ephemeris.LAST_DAY.astype("datetime64[D]").astype(np.int64)) + 2

#: A place and the number of a run.
_Key = tuple[float, float, int]


class DayEvents(NamedTuple):
    """What happens over a place on ``days`` [days since 1970]; everything else as `Passages` has it."""

    times_us: IntArray
    kinds: IntArray
    rates: FloatArray
    days: IntArray
    states: IntArray


class _Kept:
    """Runs by place and number, those used last; may be shared by threads."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = Lock()
        self._runs: OrderedDict[_Key, Passages] = OrderedDict()

    def find(self, keys: Sequence[_Key]) -> dict[_Key, Passages]:
        """Return those that are kept."""
        found = {}
        with self._lock:
            for key in keys:
                run = self._runs.get(key)
                if run is not None:
                    self._runs.move_to_end(key)
                    found[key] = run
        return found

    def keep(self, runs: dict[_Key, Passages]) -> None:
        """Keep runs."""
        with self._lock:
            self._runs |= runs
            while len(self._runs) > self._most:
                self._runs.popitem(last=False)

    def clear(self) -> None:
        """Forget all."""
        with self._lock:
            self._runs.clear()


KEPT = _Kept(_MOST_KEPT)


def events_of_days(places: Sequence[tuple[float, float]], span: TimeSpan) -> list[DayEvents]:
    """Return what happens over each of some places on the local solar days that a span touches.

    Local solar days run from midnight to midnight of mean solar time at the longitude.

    Raises
    ------
    InvalidPosition
        If a latitude or longitude is out of range.
    """
    for place in places:
        observer(*place)
    touched = {place: _days(span, place[1]) for place in places}
    runs = {place: range(first // _RUN_DAYS, (end - 1) // _RUN_DAYS + 1) for place, (first, end) in touched.items()}
    known = KEPT.find([(*place, k) for place in runs for k in runs[place]])
    missing = {place: [k for k in runs[place] if (*place, k) not in known] for place in runs}
    made = _worked_out({place: (some[0], some[-1] + 1) for place, some in missing.items() if some})
    KEPT.keep(made)
    known |= made
    joined = {
        place: _joined([known[(*place, k)] for k in runs[place]], runs[place][0], touched[place]) for place in runs
    }
    return [joined[place] for place in places]


def _days(span: TimeSpan, longitude: float) -> tuple[int, int]:
    """Return the first local solar day that a span touches, and the one after the last [days since 1970]."""
    shift = _shift_us(longitude)
    return (span.start_us + shift) // US_PER_DAY, -(-(span.end_us + shift) // US_PER_DAY)


def _shift_us(longitude: float) -> int:
    return round(((longitude + 180.0) % 360.0 - 180.0) / 360.0 * US_PER_DAY)


def _covered(first_run: int, end_run: int) -> tuple[int, int]:
    """Return the days of runs that the ephemeris covers, first and the one after the last."""
    return max(first_run * _RUN_DAYS, _FIRST_DAY), min(end_run * _RUN_DAYS, _END_DAY)


def _worked_out(wanted: dict[tuple[float, float], tuple[int, int]]) -> dict[_Key, Passages]:
    """Return the runs of places from a first one to before a last one."""
    if not wanted:
        return {}
    stretches = []
    for place, runs in wanted.items():
        first, end = _covered(*runs)
        bounds = np.arange(first, end + 1, dtype=np.int64) * US_PER_DAY - _shift_us(place[1])
        stretches.append(Stretch(observer(*place), bounds))
    ends = min(one.bounds_us[0] for one in stretches), max(one.bounds_us[-1] for one in stretches)
    start, end_at = from_microseconds(np.array(ends, dtype=np.int64))
    positions = sky_positions(max(start, ephemeris.FIRST_DAY), min(end_at, ephemeris.LAST_DAY))
    made = {}
    for (place, runs), found, (_, bounds) in zip(
        wanted.items(), find_passages(positions, stretches), stretches, strict=True
    ):
        first = _covered(*runs)[0]
        for k in range(*runs):
            low, high = (day - first for day in _covered(k, k + 1))
            inside = slice(*np.searchsorted(found.times_us, bounds[[low, high]]).tolist())
            made[(*place, k)] = _copied(found, inside, slice(low, high))
    return made


def _copied(found: Passages, inside: slice, days: slice) -> Passages:
    """Return a part with arrays of its own, which nobody can change."""
    part = Passages(
        found.times_us[inside].copy(), found.kinds[inside].copy(), found.rates[inside].copy(), found.states[days].copy()
    )
    for array in part:
        array.flags.writeable = False
    return part


def _joined(runs: Sequence[Passages], first_run: int, days: tuple[int, int]) -> DayEvents:
    """Return what runs hold, with the states of some days."""
    times, kinds, rates, states = (np.concatenate(each) for each in zip(*runs, strict=True))
    skip = days[0] - _covered(first_run, first_run + 1)[0]
    wanted = np.arange(*days, dtype=np.int64)
    return DayEvents(times, kinds, rates, wanted, states[skip : skip + wanted.size])
