"""Hold prediction intervals against what records say where the fit had not seen them, and print how they fare.

    python -m tests.reference.intervals            every record, each part predicted by `tidecore.fit` of the others
    python -m tests.reference.intervals quick      the same with plain least squares on what Rayleigh's criterion keeps
    python -m tests.reference.intervals last       only the last part of each, quickly
    python -m tests.reference.intervals hourly     quickly, records finer than an hour fitted hourly and held in full

Nominal coverage is 90%. A record over 100 days is cut into four parts, a shorter one into ten; none enters its own
interval. Brackets hold 95% of a bootstrap over blocks of seven days. "score" is the mean interval score [m], "of
constant" what it is of that of an interval of constant width from the same record. Times of high and low waters are
held against the turning point of a cubic through the two hours on either side, in records of 15 minutes or finer only.

The records are read in place, from the folder that EBBMARK_OPEN_DATA names; their sources are in test_gauge_records.py
and here.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import xarray

import tidecore
from tests.reference.fit_records import LATITUDES, folder
from tests.reference.records import good_values
from tests.reference.test_gauge_records import RECORDS
from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics
from tidecore.harmonics.engine import rayleigh_choice
from tidecore.harmonics.least_squares import least_squares
from tidecore.intervals import Calibration, calibrate, extreme_bounds, height_bounds, interval_score
from tidecore.intervals.waters import observed_waters, tellable
from tidecore.timebase import US_PER_DAY, US_PER_HOUR
from tidecore.units import BoolArray, FloatArray, IntArray

LEVEL = 0.9
WHAT = ("heights", "HW", "LW", "HW time", "LW time")
#: Records long enough, by path. High and low waters alone are no record of heights, and Kotzebue's level stands still
#: at the same 1.094 m for months.
PATHS = (
    "honolulu/HNL2010.asc",
    "uhslc/h820.csv",
    "uhslc/h079_2009-2011.csv",
    "halifax/490-01-JAN-2003_slev.csv",
    "cananeia/can1998.dtf",
    "noaa/newlondon_8461490_2013_hourly_MHW_gmt.csv",
    "noaa/providence_8454000_hourly_2014-2017_MLLW.csv",
    "bom/hillarys_2012-2014_hourly.csv",
    "bom/portland_2012-2014_hourly.csv",
    "tuktoyaktuk/tuk_time_elev.dat",
    "netcdf/wplf1_2009-08_2009-09.nc",
    "noaa/newlondon_8461490_201301_6min_MHW_gmt.csv",
    "ioc/vliz_realtime_h820_20201014.csv",
)
#: Those of the UK tide gauge network: Aberdeen 1946 and 1947 hourly, Whitby 2012 every 15 minutes.
UK = {"Aberdeen": ("bodc/1946ABE.txt", "bodc/1947ABE.txt"), "Whitby": ("bodc/2012WHI.txt",)}
_BLOCK_US = 7 * US_PER_DAY
_RESAMPLES = 2000
#: Records this fine show times of high and low waters [us].
_FINE_US = US_PER_HOUR // 4

#: From times, levels and latitude to a tide and how sure it is.
Fitter = Callable[[IntArray, FloatArray, float], tuple[Harmonics, Calibration | None]]


@dataclass(frozen=True)
class Record:
    """One record: valid values [m] at ascending instants [microseconds since 1970]."""

    name: str
    latitude: float
    times_us: IntArray
    levels: FloatArray

    @property
    def days(self) -> float:
        """Span [days]."""
        return float(self.times_us[-1] - self.times_us[0]) / US_PER_DAY


@dataclass
class Tally:
    """Hits and their instants of each quantity, and sums of interval scores."""

    hits: dict[str, list[BoolArray]] = field(default_factory=lambda: {what: [] for what in WHAT})
    at_us: dict[str, list[IntArray]] = field(default_factory=lambda: {what: [] for what in WHAT})
    scores: list[FloatArray] = field(default_factory=list)
    constant: list[FloatArray] = field(default_factory=list)

    def add(self, what: str, at_us: IntArray, hit: BoolArray) -> None:
        """Count hits."""
        self.hits[what].append(hit)
        self.at_us[what].append(at_us)

    def blocks(self, what: str) -> FloatArray:
        """Return hits and values of each block of seven days that has values, shape ``(blocks, 2)``."""
        if not self.hits[what]:
            return np.empty((0, 2))
        hit, at = np.concatenate(self.hits[what]), np.concatenate(self.at_us[what]) // _BLOCK_US
        places = np.unique(at, return_inverse=True)[1]
        return np.stack((np.bincount(places, hit), np.bincount(places)), axis=1) if len(hit) else np.empty((0, 2))


def covered(blocks: FloatArray) -> tuple[float, float, float]:
    """Return the part covered, and the bounds of 95% of its bootstrap over blocks."""
    drawn = np.random.default_rng(20261128).integers(0, len(blocks), (_RESAMPLES, len(blocks)))
    sums = blocks[drawn].sum(axis=1)
    low, high = np.quantile(sums[:, 0] / sums[:, 1], (0.025, 0.975))
    return float(blocks[:, 0].sum() / blocks[:, 1].sum()), float(low), float(high)


def records(where: Path, wanted: str = "") -> Iterator[Record]:
    """Return the records there are, or those with ``wanted`` in their names."""
    hints = {record.path: record.hints for record in RECORDS}
    named = {path: (path,) for path in PATHS} | {f"bodc {name}": paths for name, paths in UK.items()}
    for name, paths in named.items():
        if wanted in name:
            parts = [good_values(tidecore.read_gauge(where / path, **hints[path])) for path in paths]
            times, levels = (np.concatenate([part[place] for part in parts]) for place in (0, 1))
            yield Record(name, LATITUDES[paths[0]], times.astype("datetime64[us]").view(np.int64), levels)


def by_fit(times_us: IntArray, levels: FloatArray, latitude: float) -> tuple[Harmonics, Calibration | None]:
    """Fit as `tidecore.fit` does when nothing is asked."""
    times = times_us.view("datetime64[us]").astype("datetime64[ns]")
    model = tidecore.fit(xarray.Dataset({"sea_level": ("time", levels)}, coords={"time": times}), latitude=latitude)
    return model.harmonics, model.calibration


def by_least_squares(times_us: IntArray, levels: FloatArray, latitude: float) -> tuple[Harmonics, Calibration | None]:
    """Fit what Rayleigh's criterion keeps."""
    names, _ = rayleigh_choice(float(times_us[-1] - times_us[0]) / US_PER_DAY)
    tide = least_squares(times_us, levels, latitude, names).harmonics
    return tide, calibrate(times_us, levels, tide)


def by_hourly(times_us: IntArray, levels: FloatArray, latitude: float) -> tuple[Harmonics, Calibration | None]:
    """Fit about hourly values of a finer record."""
    every = max(1, round(US_PER_HOUR / float(np.median(np.diff(times_us)))))
    return by_least_squares(times_us[::every], levels[::every], latitude)


def judge(record: Record, fitter: Fitter, chosen: Sequence[int] | None = None, parts: int | None = None) -> Tally:
    """Return how intervals of the other parts fare on each part, or on those ``chosen``."""
    count = parts or (4 if record.days > 100.0 else 10)
    edges = np.linspace(float(record.times_us[0]), float(record.times_us[-1]) + 1.0, count + 1)
    tally = Tally()
    for place in range(count) if chosen is None else chosen:
        held = (record.times_us >= edges[place]) & (record.times_us < edges[place + 1])
        tide, found = fitter(record.times_us[~held], record.levels[~held], record.latitude)
        if found is None or not held.any():
            continue
        plain = calibrate(record.times_us[~held], record.levels[~held], tide, kind="constant")
        assert plain is not None
        _judge_heights(tally, record.times_us[held], record.levels[held], tide, found, plain)
        _judge_waters(tally, record.times_us[held], record.levels[held], tide, found)
    return tally


def _judge_heights(
    tally: Tally, times_us: IntArray, levels: FloatArray, tide: Harmonics, found: Calibration, plain: Calibration
) -> None:
    every = max(1, round(US_PER_HOUR / float(np.median(np.diff(times_us)))))
    at, seen = times_us[::every], levels[::every]
    for calibration, scores in ((found, tally.scores), (plain, tally.constant)):
        bounds = height_bounds(calibration, tide, at.view("datetime64[us]"), LEVEL)
        scores.append(interval_score(bounds.lower, bounds.upper, seen, LEVEL))
        if calibration is found:
            tally.add("heights", at, (seen >= bounds.lower) & (seen <= bounds.upper))


def _judge_waters(tally: Tally, times_us: IntArray, levels: FloatArray, tide: Harmonics, found: Calibration) -> None:
    ends = times_us[[0, -1]].view("datetime64[us]")
    extremes = find_extremes(tide, ends[0], ends[1])
    bounds = extreme_bounds(found, tide, extremes, LEVEL)
    seen = observed_waters(extremes, times_us, levels)
    told = tellable(extremes, found.residual_sd_m)[seen.rows] & ~np.isnat(bounds.time_lower[seen.rows])
    told &= float(np.median(np.diff(times_us))) <= _FINE_US
    for kind, height, time in (("high", "HW", "HW time"), ("low", "LW", "LW time")):
        of = extremes.kind[seen.rows] == kind
        rows = seen.rows[of]
        hit = (seen.heights[of] >= bounds.height_lower[rows]) & (seen.heights[of] <= bounds.height_upper[rows])
        tally.add(height, extremes.times_us()[rows], hit)
        timed, at = seen.rows[of & told], seen.times_us[of & told]
        early, late = (bound[timed].view(np.int64) for bound in (bounds.time_lower, bounds.time_upper))
        tally.add(time, extremes.times_us()[timed], (at >= early) & (at <= late))


def figures(found: Sequence[Record], fitter: Fitter, last: bool = False) -> Iterator[str]:
    """Return a line a record, and one of all together."""
    yield f"{'record':<50} {'days':>5} " + " ".join(f"{what:>22}" for what in WHAT) + "   score  of constant"
    pooled: dict[str, list[FloatArray]] = {what: [] for what in WHAT}
    ratios = []
    for record in found:
        count = 4 if record.days > 100.0 else 10
        tally = judge(record, fitter, [count - 1] if last else None)
        cells = []
        for what in WHAT:
            blocks = tally.blocks(what)
            pooled[what].append(blocks)
            cells.append(_cell(blocks))
        if tally.scores:
            score, plain = (float(np.mean(np.concatenate(some))) for some in (tally.scores, tally.constant))
            ratios.append(score / plain)
            cells.append(f"{score:7.3f} {ratios[-1]:8.3f}")
        yield f"{record.name:<50} {record.days:>5.0f} " + " ".join(cells)
    all_cells = [_cell(np.concatenate(pooled[what])) for what in WHAT]
    yield f"{'all':<50} {'':>5} " + " ".join(all_cells) + f" {'mean':>7} {np.mean(ratios):8.3f}"


def _cell(blocks: FloatArray) -> str:
    if not len(blocks):
        return f"{'-':>22}"
    part, low, high = covered(blocks)
    return f"{part:5.1%} [{low:5.1%} {high:6.1%}]".rjust(22)


def main(arguments: list[str]) -> int:
    """Print the figures."""
    if not folder().is_dir():
        sys.stderr.write(f"open gauge data not found at {folder()}; set EBBMARK_OPEN_DATA\n")
        return 1
    found = list(records(folder()))
    fitter: Fitter = by_least_squares if {"quick", "last"} & set(arguments) else by_fit
    if "hourly" in arguments:
        found = [one for one in found if float(np.median(np.diff(one.times_us))) <= _FINE_US]
        fitter = by_hourly
    for line in figures(found, fitter, "last" in arguments):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
