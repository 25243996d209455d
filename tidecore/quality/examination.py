"""The order in which a record is examined: values first, then clock and datum, each against a tide freed of the others.

A fault hides others: a clock that is an hour late leaves so much of the tide that no step is seen in it. So what is
found is taken out of a working copy, the tide is fitted again, and the original is looked at once more against the
better tide. The copy is thrown away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tidecore.gauges.record import FAIL, SUSPECT
from tidecore.harmonics import Harmonics
from tidecore.quality.clocks import Shift, find_shifts
from tidecore.quality.hourly import CLOCK_ORDER, ORDER, Hours, Noise, by_the_hour, noise_of
from tidecore.quality.steps import Step, find_steps
from tidecore.quality.tide import tide_of
from tidecore.quality.values import ValueFlags, flag_values
from tidecore.timebase import US_PER_MINUTE
from tidecore.units import BoolArray, FloatArray, IntArray

#: Passes at most: values, then faults of clock and datum, then both against the better tide.
_PASSES = 4
#: Flagged values that hold less than this share of what the tide leaves don't ask for another fit.
_NEGLIGIBLE = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Examination:
    """What was found: flags of the values, faults of clock and datum, and the tide it was told from."""

    flags: ValueFlags
    tide: Harmonics
    hours: Hours
    noise: Noise | None
    shifts: tuple[Shift, ...]
    steps: tuple[Step, ...]


def examine(
    times_us: IntArray, levels: FloatArray, latitude: float, level_range: tuple[float, float] | None
) -> Examination:
    """Return what is wrong with a record of valid levels.

    Raises
    ------
    InvalidInput
        Where the record does not tell its constituents apart.
    """
    kept = ~_bad(flag_values(times_us, levels, None, level_range))
    true_us, true_levels = times_us, levels
    found: Examination | None = None
    spread = np.inf
    surely = False
    for _ in range(_PASSES):
        tide = tide_of(true_us[kept], true_levels[kept], latitude)
        flags = flag_values(true_us, true_levels, tide.heights(true_us.view("datetime64[us]")), level_range)
        good = ~_bad(flags)
        left = (true_levels - tide.heights(true_us.view("datetime64[us]")))[good]
        if found is not None and float(np.std(left)) > spread:
            # What was taken out has made the tide worse: it is no fault of clock or datum that a tide is blurred by.
            break
        spread = float(np.std(left))
        surely = found is not None
        shifts, steps, hours, noise = _faults(times_us, levels, good, tide, found)
        before, found = found, Examination(flags, tide, hours, noise, shifts, steps)
        if _settled(before, found, kept, good, true_levels - tide.heights(true_us.view("datetime64[us]"))):
            break
        kept = good
        true_us, true_levels = corrected(times_us, levels, found)
        order = np.all(np.diff(true_us) > 0)
        if not order:
            kept = kept & _ascending(true_us)
    assert found is not None
    return found if surely else _strict(found)


def _strict(found: Examination) -> Examination:
    """Return what stays where the first pass is the last: steps with their wakes alone."""
    steps = () if found.noise is None else tuple(find_steps(found.hours, found.noise))
    return replace(found, steps=steps)


def corrected(times_us: IntArray, levels: FloatArray, found: Examination) -> tuple[IntArray, FloatArray]:
    """Return times and levels as they would be had the longest stretch been right all along."""
    late = _stretches(times_us, found.hours, [(s.at, s.minutes) for s in found.shifts])
    high = _stretches(times_us, found.hours, [(s.at, s.size_m) for s in found.steps])
    return times_us - np.rint(late * US_PER_MINUTE).astype(np.int64), levels - high


def _stretches(times_us: IntArray, hours: Hours, changes: list[tuple[int, float]]) -> FloatArray:
    """Return the sum of all changes up to each instant, zero in the stretch that lasts longest."""
    borders = np.array([hours.time_us(at) for at, _ in changes], dtype=np.int64)
    sums = np.concatenate(([0.0], np.cumsum([size for _, size in changes])))
    which = np.searchsorted(borders, times_us, side="right")
    late: FloatArray = sums[which] - sums[np.argmax(np.bincount(which, minlength=len(sums)))]
    return late


def _faults(
    times_us: IntArray, levels: FloatArray, good: BoolArray, tide: Harmonics, before: Examination | None
) -> tuple[tuple[Shift, ...], tuple[Step, ...], Hours, Noise | None]:
    """Return shifts of the levels freed of the steps known before, and steps of those freed of the shifts."""
    hours = by_the_hour(times_us[good], levels[good], tide)
    if before is None:
        noise, clock = noise_of(hours), noise_of(hours, CLOCK_ORDER)
        if noise is None or clock is None:
            return (), (), hours, None
        # What is taken out of the copy here is looked at once more in it, by noise that is free of it.
        return tuple(find_shifts(hours, clock)), tuple(find_steps(hours, noise, wakes=False)), hours, noise
    true_us, true_levels = corrected(times_us, levels, before)
    # The noise is that of the record without its faults; the faults are looked for in the record with them.
    ascending = good & _ascending(true_us)
    faultless = by_the_hour(true_us[ascending], true_levels[ascending], tide)
    stepless = by_the_hour(times_us[good], true_levels[good], tide)
    clock = _noise_for(stepless, faultless, CLOCK_ORDER)
    shifts = () if clock is None else tuple(find_shifts(stepless, clock))
    late_us, _ = corrected(times_us, levels, replace(before, shifts=shifts, steps=()))
    ascending = good & _ascending(late_us)
    shiftless = by_the_hour(late_us[ascending], levels[ascending], tide)
    noise = _noise_for(shiftless, faultless, ORDER)
    steps = () if noise is None else tuple(find_steps(shiftless, noise))
    return shifts, steps, hours, noise


def _noise_for(hours: Hours, faultless: Hours, order: int) -> Noise | None:
    """Return the noise of ``faultless``, as far as it covers ``hours``; else their own."""
    if len(faultless.known) == len(hours.known):
        return noise_of(faultless, order)
    return noise_of(hours, order)


def _settled(
    before: Examination | None, found: Examination, kept: BoolArray, good: BoolArray, left: FloatArray
) -> bool:
    changed = kept != good
    if before is None:
        energy = float(np.sum((left - left.mean()) ** 2))
        negligible = float(np.sum((left[changed] - left.mean()) ** 2)) <= _NEGLIGIBLE * energy
        return negligible and not found.shifts and not found.steps
    same_shifts = [(s.at, round(s.minutes)) for s in before.shifts] == [(s.at, round(s.minutes)) for s in found.shifts]
    same_steps = [s.at for s in before.steps] == [s.at for s in found.steps]
    return same_shifts and same_steps and not bool(np.any(changed))


def _bad(flags: ValueFlags) -> BoolArray:
    worst = flags.worst
    bad: BoolArray = (worst == FAIL) | (worst == SUSPECT)
    return bad


def _ascending(times_us: IntArray) -> BoolArray:
    """Return which times come after all before them: a clock put back shows some hours twice."""
    highest = np.maximum.accumulate(times_us)
    later: BoolArray = np.concatenate(([True], times_us[1:] > highest[:-1]))
    return later
