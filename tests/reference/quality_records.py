"""Real records that faults are put into, and the faults."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray

from tests.reference.fit_records import LATITUDES
from tests.reference.records import good_values
from tests.reference.test_gauge_records import RECORDS
from tidecore.gauges import read_gauge
from tidecore.harmonics import Harmonics
from tidecore.quality import check_record
from tidecore.quality.hourly import by_the_hour
from tidecore.quality.tide import tide_of
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE

#: Records under this deviation of the high-passed residual are those that the figures are promised for [m].
QUIET_M = 0.03
#: The records looked at: years of hours, two months and one at 6 minutes or the hour, and noisy ones.
NAMES = {
    "honolulu": "honolulu/HNL2010.asc",
    "hillarys": "bom/hillarys_2012-2014_hourly.csv",
    "portland": "bom/portland_2012-2014_hourly.csv",
    "nuuk": "uhslc/h820.csv",
    "everglades": "netcdf/wplf1_2009-08_2009-09.nc",
    "syowa": "gesla/geslaR_antarctica.txt",
    "chatham": "uhslc/h079_2009-2011.csv",
    "new london": "noaa/newlondon_8461490_2013_hourly_MHW_gmt.csv",
    "providence": "noaa/providence_8454000_hourly_2014-2017_MLLW.csv",
    "cananeia": "cananeia/can1998.dtf",
    "halifax": "halifax/490-01-JAN-2003_slev.csv",
    "whitby": "bodc/2012WHI.txt",
    "aberdeen": "bodc/1946ABE.txt",
}


@dataclass(frozen=True, eq=False)
class Record:
    """Valid values of a record: ``times_us``, ``levels`` [m], and the tide of the whole."""

    name: str
    latitude: float
    times_us: np.ndarray
    levels: np.ndarray
    tide: Harmonics
    high_passed_m: float

    @property
    def years(self) -> float:
        return float(self.times_us[-1] - self.times_us[0]) / US_PER_DAY / 365.2425

    def dataset(self, levels: np.ndarray | None = None, times_us: np.ndarray | None = None) -> xarray.Dataset:
        times = self.times_us if times_us is None else times_us
        return xarray.Dataset(
            {"sea_level": ("time", self.levels if levels is None else levels)},
            {"time": times.view("datetime64[us]").astype("datetime64[ns]")},
        )


def record(folder: Path, name: str) -> Record:
    """Return one of `NAMES`."""
    path = NAMES[name]
    published = next(one for one in RECORDS if one.path == path)
    (times, levels), latitude = good_values(read_gauge(folder / path, **published.hints)), LATITUDES[path]
    ticks = times.astype("datetime64[us]").astype(np.int64)
    tide = tide_of(ticks, levels, latitude)
    return Record(name, latitude, ticks, levels, tide, _high_passed(ticks, levels, tide))


def _high_passed(times_us: np.ndarray, levels: np.ndarray, tide: Harmonics) -> float:
    """Standard deviation of the hourly residual less its 40 h Lanczos low-pass [m]; hours near gaps don't count."""
    hours = by_the_hour(times_us, levels, tide)
    at = np.arange(-60, 61)
    weights = np.sinc(2.0 * at / 40.0) * np.sinc(at / 60.0)
    weights /= weights.sum()
    known = hours.known.astype(float)
    around = np.convolve(known, weights, "same")
    low = np.convolve(hours.residual * known, weights, "same") / np.where(around > 0.5, around, 1.0)
    return float(np.std((hours.residual - low)[hours.known & (around > 0.9)]))


@dataclass(frozen=True)
class Fault:
    """A kind of fault, its ``size`` (m, min or h), within how many days to be located, and days kept from the ends.

    A clock can only be told from days before and after; so the ends are left free.
    """

    kind: str
    size: float
    within_days: float = 0.0
    margin_days: float = 1.0


#: What is promised.
FAULTS = (
    Fault("step", 0.10, 2.0, 3.0),
    Fault("clock", 15.0, 5.0, 15.0),
    Fault("zone", 60.0, 1.0, 15.0),
    Fault("stuck", 6.0),
    Fault("stuck", 24.0),
    Fault("spike", 0.25),
)
#: Sizes of the curves.
CURVES = {
    "step": (0.05, 0.075, 0.10, 0.15, 0.20, 0.30),
    "clock": (5.0, 10.0, 15.0, 20.0, 30.0, 60.0),
    "spike": (0.05, 0.10, 0.15, 0.25, 0.50, 1.00),
}


def found(of: Record, fault: Fault, rng: np.random.Generator) -> bool:
    """Put a fault at a random place, up or down, and return whether the check finds it there."""
    days = of.years * 365.2425
    margin = min(fault.margin_days, days / 4.0)
    at = of.times_us[0] + rng.uniform(margin, days - margin) * US_PER_DAY
    place = int(np.searchsorted(of.times_us, at))
    sign = float(rng.choice((-1.0, 1.0)))
    levels = of.levels.copy()
    end = place
    if fault.kind == "step":
        levels[place:] += sign * fault.size
    elif fault.kind in ("clock", "zone"):
        levels[place:] = _late(of, place, sign * fault.size)
    elif fault.kind == "spike":
        levels[place] += sign * fault.size
    else:
        end = int(np.searchsorted(of.times_us, of.times_us[place] + fault.size * US_PER_HOUR))
        levels[place : end + 1] = levels[place]
    checked, report = check_record(of.dataset(levels), of.latitude)
    if fault.kind in ("spike", "stuck"):
        flags = checked["quality"].values[place : end + 1]
        return bool(np.mean(flags == 4) > 0.8)
    tests = ("datum_step",) if fault.kind == "step" else ("clock_shift", "zone_change")
    near = fault.within_days * US_PER_DAY
    for finding in (one for test in tests for one in report.of(test)):
        moment = np.datetime64(finding.start.removesuffix("Z"), "us").astype(np.int64)
        # A step or shift counts with its sign and at least half its size.
        if abs(moment - of.times_us[place]) <= near and finding.size * sign >= 0.5 * fault.size:
            return True
    return False


def _late(of: Record, place: int, minutes: float) -> np.ndarray:
    """Levels from ``place`` on as a clock ahead by ``minutes`` has them: those of before."""
    back = of.times_us[place:] - round(minutes * US_PER_MINUTE)
    left = of.levels - of.tide.heights(of.times_us.view("datetime64[us]"))
    return of.tide.heights(back.view("datetime64[us]")) + np.interp(back, of.times_us, left)


def alarms(of: Record) -> tuple[int, float]:
    """Findings of clock and datum in a record as it is, and the share of its values that are flagged."""
    _, report = check_record(of.dataset(), of.latitude)
    faults = sum(report.found[test] for test in ("datum_step", "clock_shift", "clock_drift", "zone_change"))
    return faults + report.found["flat_line"], report.left_out / len(of.levels)


def surges(of: Record, rng: np.random.Generator) -> Iterator[tuple[str, int]]:
    """Put storm surges of 0.3 to 1 m over 1 to 3 days in, of four shapes; yield the shape and the steps then found."""
    shapes = ("sine", "bell", "fast rise", "two peaks")
    for shape in shapes:
        height, days = rng.uniform(0.3, 1.0), rng.uniform(1.0, 3.0)
        start = of.times_us[0] + rng.uniform(5.0, of.years * 365.2425 - 8.0) * US_PER_DAY
        x = (of.times_us - start) / (days * US_PER_DAY)
        inside = (x > 0.0) & (x < 1.0)
        if shape == "sine":
            form = np.sin(np.pi * x) ** 2
        elif shape == "bell":
            form, inside = np.exp(-0.5 * ((x - 0.5) / 0.18) ** 2), np.abs(x - 0.5) < 2.0
        elif shape == "fast rise":
            # Up in a fifth of the time, down exponentially.
            form = np.where(x < 0.2, np.sin(np.pi / 2 * x / 0.2) ** 2, np.exp(-np.maximum(x - 0.2, 0.0) / 0.3))
            inside = (x > 0.0) & (x < 4.0)
        else:
            form = np.sin(np.pi * x) ** 2 * (1.0 + 0.6 * np.cos(4.0 * np.pi * x)) / 1.4
        levels = of.levels + np.where(inside, height * form, 0.0)
        _, report = check_record(of.dataset(levels), of.latitude)
        yield shape, report.found["datum_step"]
