"""What filters that are told more than the check find of the faults that are promised, on the same quiet records.

    python -m tests.reference.fault_bounds

All are given the noise of the record without its fault.

Step, the tide known too: the matched filter of a step in noise made white, at every hour, at 0.1 false steps a year.
First what it would find were the noise Gaussian with this spectrum. Then what it finds in the record, by the threshold
that the record without a fault asks for: weather has shocks, and a plain filter takes them for steps.

Clock: tide and shift are fitted together by generalised least squares, for a shift at every hour, and the likeliest
hour is taken: the largest likelihood that all values, both sides and every constituent give. Counted is what lies
within five days; first at the fifty places of the check's figure, then at all of them, as if it were known that there
is a shift; then without what does not stand out further than the likeliest shift of the record as it is, "own", which
would be a false alarm. Last the tide is known as well, and where the shift is within ten days.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from statistics import NormalDist

import numpy as np

from tests.reference.fit_records import folder
from tests.reference.quality_records import Record, record
from tidecore.harmonics.engine import rayleigh_choice
from tidecore.harmonics.least_squares import basis, real_columns
from tidecore.quality.hourly import CLOCK_ORDER, Hours, Noise, by_the_hour, noise_of
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE
from tidecore.units import FloatArray

QUIET = ("honolulu", "hillarys", "portland")
#: Places of steps and of shifts; the first fifty shifts lie where the check's are counted.
SEED, PLACEMENTS, FIRST = 20, 200, 50
STEP_M, STEP_WITHIN_H, STEP_MARGIN_H = 0.10, 48, 3 * 24
CLOCK_MIN, CLOCK_WITHIN_H, CLOCK_MARGIN_D = 15.0, 120, 15.0
#: Hours about a place in which another is looked for where the tide is known.
NEAR_H = 15 * 24
#: Hours next to the ends in which no shift is told from the tide.
EDGE_H = 10 * 24
#: Where the tide is known: hours either side that tell the delays before and after, and of those the ones left out.
BESIDE_H, ABOUT_H = 28 * 24, 3 * 24
#: False steps allowed a year.
FALSE_A_YEAR = 0.1
_WAKE_H = 72


def step_scores(residual: FloatArray, noise: Noise) -> tuple[FloatArray, float]:
    """Return the score of a step at each hour, and that which a step of `STEP_M` has in the mean.

    The score is the matched filter of a step's wake, in deviations of the noise.
    """
    wake = 1.0 - np.concatenate(([0.0], np.cumsum(noise.weights), np.full(_WAKE_H, noise.weights.sum())))[:_WAKE_H]
    unforeseen = np.where(noise.used, noise.whiten(residual), 0.0)
    product, energy = (
        np.correlate(np.concatenate((series, np.zeros(_WAKE_H - 1))), with_, mode="valid")
        for series, with_ in ((unforeseen, wake), (noise.used.astype(np.float64), wake**2))
    )
    scores = np.abs(product) / np.sqrt(np.maximum(energy, 1.0)) / noise.sigma
    return np.where(energy > 1.0, scores, 0.0), STEP_M * float(np.sqrt(energy.max())) / noise.sigma


def steps_found(of: Record, hours: Hours, rng: np.random.Generator) -> tuple[float, float]:
    """Return the share of steps that the matched filter finds in Gaussian noise of this spectrum, and in the record."""
    noise = noise_of(hours)
    assert noise is not None
    normal, hours_a_year = NormalDist(), 365.2425 * 24.0
    clean, mean = step_scores(hours.residual, noise)
    least = -normal.inv_cdf(0.5 * FALSE_A_YEAR / hours_a_year)
    # What the record as it is may tell of steps lies beyond the threshold.
    threshold = np.sort(_peaks(clean))[-1 - int(FALSE_A_YEAR * of.years)]
    found = 0
    for _ in range(PLACEMENTS):
        at = int(rng.integers(STEP_MARGIN_H, len(clean) - STEP_MARGIN_H))
        step = rng.choice((-1.0, 1.0)) * STEP_M * (np.arange(len(clean)) >= at)
        scores, _ = step_scores(hours.residual + step, noise)
        found += bool(scores[at - STEP_WITHIN_H : at + STEP_WITHIN_H + 1].max() > threshold)
    return normal.cdf(mean - least), found / PLACEMENTS


def _peaks(scores: FloatArray) -> FloatArray:
    """Return the largest score of every two days."""
    days = scores[: len(scores) // STEP_WITHIN_H * STEP_WITHIN_H].reshape(-1, STEP_WITHIN_H)
    highest: FloatArray = days.max(axis=1)
    return highest


class Clock:
    """A record in noise made white, its tide's columns, and what a shift from each hour on adds to them."""

    def __init__(self, of: Record, hours: Hours) -> None:
        noise = noise_of(hours, CLOCK_ORDER)
        assert noise is not None
        self._noise = noise
        middles = (hours.first_hour + np.arange(len(hours.known))) * US_PER_HOUR
        tide = of.tide.heights(middles.view("datetime64[us]"))
        self.levels = hours.residual + tide
        self.late = {}
        for sign in (-1.0, 1.0):
            back = middles - round(sign * CLOCK_MIN * US_PER_MINUTE)
            left = np.interp(back, middles, hours.residual)
            self.late[sign] = of.tide.heights(back.view("datetime64[us]")) + left
        self._tide = self.white(tide)
        names, _ = rayleigh_choice(of.years * 365.2425)
        columns = real_columns(basis(names, of.latitude, middles))
        columns = np.hstack((columns, np.ones((len(middles), 1))))
        self._columns = np.linalg.qr(np.stack([self.white(column) for column in columns.T], axis=1))[0]
        # A clock ahead by an hour shows the level of an hour before: minus the rate.
        self._rate = self.white(-hours.rate)
        seen = _from_each_on(self._columns * self._rate[:, None])
        self._free = _from_each_on(self._rate**2) - np.sum(seen**2, axis=1)

    def white(self, series: FloatArray) -> FloatArray:
        """Return a series in deviations of the noise, shape as given."""
        noise = self._noise
        return np.where(noise.used, noise.whiten(series) / noise.sigma, 0.0)

    def likeliest(self, levels: FloatArray) -> tuple[int, float, float]:
        """Return the hour of the likeliest shift beside any tide, by how many deviations, and its size [min]."""
        white = self.white(levels)
        left = white - self._columns @ (self._columns.T @ white)
        product = _from_each_on(left * self._rate)
        gains = np.where(self._free > 1.0, product**2 / np.maximum(self._free, 1.0), 0.0)
        gains[:EDGE_H] = gains[-EDGE_H:] = 0.0
        at = int(np.argmax(gains))
        return at, float(np.sqrt(gains[at])), float(60.0 * product[at] / self._free[at])

    def placed(self, levels: FloatArray, at: int) -> int:
        """Return the likeliest hour near ``at`` where the tide is known, by the delays of the weeks on either side."""
        left = self.white(levels) - self._tide
        product = np.concatenate(([0.0], np.cumsum(left * self._rate)))
        energy = np.concatenate(([0.0], np.cumsum(self._rate**2)))
        for _ in range(5):
            begin, end = max(at - BESIDE_H, 0), min(at + BESIDE_H, len(left))
            inner = min(ABOUT_H, (at - begin) // 2, (end - at) // 2)
            before, after = (
                (product[b] - product[a]) / (energy[b] - energy[a]) for a, b in ((begin, at - inner), (at + inner, end))
            )
            near = np.arange(max(at - NEAR_H, 48), min(at + NEAR_H, len(left) - 48))
            # Log-likelihood but for what does not hang on the place.
            fit = (before - after) * product[near] - 0.5 * (before**2 - after**2) * energy[near]
            at, last = int(near[np.argmax(fit)]), at
            if at == last:
                break
        return at


def _from_each_on(series: FloatArray) -> FloatArray:
    """Return the sum of a series from each place on, shape as given."""
    sums: FloatArray = np.cumsum(series[::-1], axis=0)[::-1]
    return sums


def shifts_placed(of: Record, clock: Clock, hours: Hours, placements: int) -> tuple[float, float, float]:
    """Return the share of shifts told within five days: the likeliest, beyond the record's own, the tide known.

    They are put where `quality_records.found` puts them with this seed.
    """
    rng, starts = np.random.default_rng(SEED), np.random.default_rng(SEED)
    count, days, hits = len(clock.levels), of.years * 365.2425, np.zeros(3)
    own = clock.likeliest(clock.levels)[1]
    for _ in range(placements):
        day, sign = rng.uniform(CLOCK_MARGIN_D, days - CLOCK_MARGIN_D), float(rng.choice((-1.0, 1.0)))
        at = hours.place(int(of.times_us[0] + day * US_PER_DAY))
        levels = np.where(np.arange(count) < at, clock.levels, clock.late[sign])
        told, deviations, _ = clock.likeliest(levels)
        near = abs(told - at) <= CLOCK_WITHIN_H
        start = int(np.clip(at + starts.integers(-EDGE_H, EDGE_H + 1), EDGE_H, count - EDGE_H))
        hits += near, near and deviations > own, abs(clock.placed(levels, start) - at) <= CLOCK_WITHIN_H
    joint, beyond, known = (float(share) for share in hits / placements)
    return joint, beyond, known


def bounds(where: Path) -> Iterator[str]:
    """Return a line a record."""
    heads = ("step, Gaussian", "in weather", "clock, first 50", "all", "beyond own", "tide known")
    yield f"{'record':<10} " + " ".join(f"{head:>15}" for head in heads) + "  own"
    for name in QUIET:
        of = record(where, name)
        hours = by_the_hour(of.times_us, of.levels, of.tide)
        clock = Clock(of, hours)
        first, *_ = shifts_placed(of, clock, hours, FIRST)
        steps = steps_found(of, hours, np.random.default_rng(SEED))
        shares = (*steps, first, *shifts_placed(of, clock, hours, PLACEMENTS))
        _, deviations, minutes = clock.likeliest(clock.levels)
        told = " ".join(f"{share:>15.3f}" for share in shares)
        yield f"{name:<10} {told}  {deviations:.1f} deviations, {minutes:+.1f} min"


def main() -> int:
    """Print the table."""
    if not folder().is_dir():
        sys.stderr.write(f"open gauge data not found at {folder()}; set EBBMARK_OPEN_DATA\n")
        return 1
    for line in bounds(folder()):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
