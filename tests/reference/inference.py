"""How much inference gains: 30 days fitted with and without, the next 90 predicted.

    python -m tests.reference.inference

Six starts spread over each record. What is predicted is held against the tide of the fit of the full record: its
diurnal and faster lines, since no month tells the seasons. The neighbour never knows the days it is judged by: it is
the record itself without the 120 days of the fit and of the test, or, where it says so, the published constants of
another station. The records are read in place, from the folder that EBBMARK_OPEN_DATA names.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray

import tidecore
from tests.reference.fit_records import LATITUDES, folder
from tests.reference.test_gauge_records import RECORDS
from tidecore import TideModel, TimeGrid
from tidecore.harmonics import Harmonics
from tidecore.harmonics.engine import rayleigh_choice, solve
from tidecore.timebase import US_PER_DAY

FITTED_DAYS, TESTED_DAYS, STARTS = 30, 90, 6
#: Lines slower than a day, by name of convention "utide".
SLOW = frozenset({"SA", "SSA", "MSM", "MM", "MSF", "MF"})
#: Name in a published table -> name of convention "utide"; S1, M1, L2 and SA have other arguments there.
RENAMED = {"LAM2": "LDA2", "RHO": "RHO1", "2MK3": "MO3"}
LEFT_OUT = frozenset({"S1", "M1", "L2", "SA", "M8", "S6"})


@dataclass(frozen=True)
class Case:
    """A record, what stands for its neighbour, and the ratio of errors that must not be exceeded."""

    path: str
    neighbour: str
    limit: float


OWN = "the rest of the record"
CASES = (
    Case("bom/portland_2012-2014_hourly.csv", OWN, 0.5),
    Case("bom/hillarys_2012-2014_hourly.csv", OWN, 0.5),
    Case("noaa/providence_8454000_hourly_2014-2017_MLLW.csv", OWN, 1.0),
    Case("noaa/providence_8454000_hourly_2014-2017_MLLW.csv", "8461490", 1.0),
)


@dataclass(frozen=True)
class Outcome:
    """Standard deviation [m] of the error of the tide without and with inference, and how many lines were inferred."""

    start: np.datetime64
    without: float
    inferred: float
    lines: int

    @property
    def ratio(self) -> float:
        return self.inferred / self.without


def read(where: Path, path: str) -> tuple[xarray.Dataset, float]:
    """Return a record and its latitude."""
    known = next(record for record in RECORDS if record.path == path)
    return tidecore.read_gauge(where / path, **known.hints), LATITUDES[path]


def published(where: Path, station: str) -> TideModel:
    """Return the tide of published constants: of NOAA, in the folder of constituents for records."""
    with (where / "noaa" / "constituents_for_records" / "constituents.csv").open(encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if row["station_id"] == station]
    lines_ = {
        RENAMED.get(row["constituent"], row["constituent"]): (float(row["amplitude_m"]), float(row["phase_GMT_deg"]))
        for row in rows
        if row["constituent"] not in LEFT_OUT
    }
    return TideModel.from_constituents(lines_, latitude=41.36, convention="utide", station=station)


def proper(harmonics: Harmonics) -> Harmonics:
    """Return the diurnal and faster lines about zero."""
    kept = [place for place, name in enumerate(harmonics.names) if name not in SLOW]
    names = tuple(harmonics.names[place] for place in kept)
    return Harmonics(names, harmonics.amplitude[kept], harmonics.phase[kept], harmonics.latitude)


def starts(record: xarray.Dataset) -> Sequence[np.datetime64]:
    """Return six starts spread evenly over a record."""
    times = record["time"].values.astype("datetime64[h]")
    room = int((times[-1] - times[0]) / np.timedelta64(1, "D")) - FITTED_DAYS - TESTED_DAYS - 1
    return [times[0] + np.timedelta64(24 * (room * k // (STARTS - 1)), "h") for k in range(STARTS)]


def tide_of(record: xarray.Dataset, latitude: float) -> Harmonics:
    """Return what `tidecore.fit` finds in a long record, without its diagnostics, which take most of the time."""
    valid = np.isfinite(record["sea_level"].values)
    times = record["time"].values[valid].astype("datetime64[us]").view(np.int64)
    names, _ = rayleigh_choice((times[-1] - times[0]) / US_PER_DAY)
    return solve(times, record["sea_level"].values[valid], latitude, names).harmonics


def rest(record: xarray.Dataset, latitude: float, start: np.datetime64, *, with_snr: bool) -> TideModel:
    """Return the tide of a record without the days of the fit and of the test that begin at ``start``."""
    times, length = record["time"].values, np.timedelta64(FITTED_DAYS + TESTED_DAYS, "D")
    outside = record.isel(time=(times < start) | (times >= start + length))
    if with_snr:
        return tidecore.fit(outside, latitude=latitude)
    return TideModel.made_of(tide_of(outside, latitude), "", "unknown", None, "")


def judge(short: xarray.Dataset, latitude: float, truth: Harmonics, neighbour: TideModel) -> Outcome:
    """Fit a short record with and without inference, and predict the 90 days after it."""
    start = short["time"].values[0]
    fitted_to = start + np.timedelta64(FITTED_DAYS, "D")
    grid = TimeGrid.spanning(fitted_to, fitted_to + np.timedelta64(TESTED_DAYS, "D"), "1h")
    expected = proper(truth).heights(grid)
    plain = tidecore.fit(short, latitude=latitude)
    model = tidecore.fit(short, latitude=latitude, neighbour=neighbour)
    assert model.diagnostics is not None
    assert model.diagnostics.inferred is not None
    without, inferred = (float(np.std(proper(one.harmonics).heights(grid) - expected)) for one in (plain, model))
    return Outcome(start, without, inferred, len(model.diagnostics.inferred["lines"]))


def outcomes(case: Case, where: Path, chosen: slice = slice(None), *, with_snr: bool = True) -> Iterator[Outcome]:
    """Return the outcome from every start of a case; ``with_snr`` leaves out what the neighbour has in its noise."""
    record, latitude = read(where, case.path)
    truth, times = tide_of(record, latitude), record["time"].values
    for start in starts(record)[chosen]:
        short = record.isel(time=(times >= start) & (times < start + np.timedelta64(FITTED_DAYS, "D")))
        own = case.neighbour == OWN
        neighbour = rest(record, latitude, start, with_snr=with_snr) if own else published(where, case.neighbour)
        yield judge(short, latitude, truth, neighbour)


def main() -> int:
    """Print every start of every case, and the median ratios against their limits."""
    where = folder()
    if not where.is_dir():
        sys.stderr.write(f"open gauge data not found at {where}; set EBBMARK_OPEN_DATA\n")
        return 1
    failed = False
    for case in CASES:
        sys.stdout.write(f"{case.path}, neighbour: {case.neighbour}\n")
        ratios = []
        for one in outcomes(case, where):
            ratios.append(one.ratio)
            sys.stdout.write(
                f"  {str(one.start)[:10]}  without {100 * one.without:5.2f} cm, with {one.lines:2d} lines inferred "
                f"{100 * one.inferred:5.2f} cm, ratio {one.ratio:.2f}\n"
            )
            sys.stdout.flush()
        median = float(np.median(ratios))
        failed |= median > case.limit
        sys.stdout.write(f"  median ratio {median:.2f}, at most {case.limit:g}\n")
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
