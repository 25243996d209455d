"""How well the chosen model predicts what it has not seen, beside plain settings.

    python -m tests.reference.best_model              both tables and the time of a fit
    python -m tests.reference.best_model channel      the made-up shallow gauge alone
    python -m tests.reference.best_model records      the records under open data alone
    python -m tests.reference.best_model time         the time of a fit over that of utide.solve

Channel: `shallow_channel`, four years hourly for the fit, the channel's own tide seven years later as truth: standard
deviation of the difference, and mean absolute difference in the times of its high and low waters.

Records: the last quarter held back; error against the observed levels after the same 40-hour Lanczos low-pass has been
taken off both. They are read in place, from the folder that EBBMARK_OPEN_DATA names.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray

import tidecore
from tests.reference.fit_records import LATITUDES, folder
from tests.reference.records import good_values
from tests.reference.shallow_channel import ChannelGauge, shallow_gauge
from tests.reference.test_gauge_records import RECORDS
from tidecore.harmonics.arguments import table_names
from tidecore.harmonics.engine import solve
from tidecore.model.study import SLOW, offered_lines
from tidecore.model.weather import slow_part
from tidecore.timebase import US_PER_DAY, microseconds
from tidecore.units import FloatArray, UtcTimes

#: Records of more than about a year that are no list of high and low waters.
LONG = (
    "honolulu/HNL2010.asc",
    "uhslc/h820.csv",
    "uhslc/h079_2009-2011.csv",
    "halifax/490-01-JAN-2003_slev.csv",
    "cananeia/can1998.dtf",
    "noaa/newlondon_8461490_2013_hourly_MHW_gmt.csv",
    "noaa/providence_8454000_hourly_2014-2017_MLLW.csv",
    "bom/hillarys_2012-2014_hourly.csv",
    "bom/portland_2012-2014_hourly.csv",
)
_RESAMPLES = 2000
#: Records of the UK tide gauge network: two years of Aberdeen as one, and Whitby.
UK = (("bodc/1946ABE.txt", "bodc/1947ABE.txt"), ("bodc/2012WHI.txt",))


def records(where: Path) -> Iterator[tuple[str, xarray.Dataset, float]]:
    """Return name, record and latitude of every record that is long enough."""
    for record in RECORDS:
        if record.path in LONG:
            yield record.path, tidecore.read_gauge(where / record.path, **record.hints), LATITUDES[record.path]
    for paths in UK:
        parts = [tidecore.read_gauge(where / path) for path in paths]
        yield " + ".join(paths), xarray.concat(parts, dim="time", combine_attrs="override"), LATITUDES[paths[0]]


def plain(record: xarray.Dataset, latitude: float) -> Iterator[tuple[str, tidecore.TideModel]]:
    """Return the models of plain settings: utide's automatic choice, that above noise, all that it resolves."""
    auto = tidecore.fit(record, latitude=latitude, constituents="rayleigh")
    yield "auto", auto
    assert auto.diagnostics is not None
    strong = [name for name, ratio in auto.diagnostics.snr.items() if ratio >= 2.0]
    yield "SNR 2", tidecore.fit(record, latitude=latitude, constituents=strong)
    times, _ = good_values(record)
    days = float((times[-1] - times[0]) / np.timedelta64(1, "D"))
    slow = [name for name in SLOW if name in auto.constituents]
    known = [name for name in offered_lines(days, composed=False) if name in table_names()]
    yield "long list", tidecore.fit(record, latitude=latitude, constituents=[*slow, *known])


def quick_left(model: tidecore.TideModel, times: UtcTimes, levels: FloatArray) -> FloatArray:
    """Return observed less predicted [m] once 40-hour weather is off both; NaN where that is not known."""
    left = levels - model.heights(times)
    quick: FloatArray = left - slow_part(microseconds(times), left)
    return quick


def bracket(times: UtcTimes, left: FloatArray, best: FloatArray) -> tuple[float, float]:
    """Return the bounds of 95% of the ratio of two errors, by a bootstrap over blocks of seven days."""
    known = np.isfinite(left) & np.isfinite(best)
    places = np.unique(microseconds(times)[known] // (7 * US_PER_DAY), return_inverse=True)[1]
    squares = np.stack([np.bincount(places, one[known] ** 2) for one in (left, best)], axis=1)
    drawn = np.random.default_rng(20261129).integers(0, len(squares), (_RESAMPLES, len(squares)))
    sums = squares[drawn].sum(axis=1)
    low, high = np.quantile(np.sqrt(sums[:, 0] / sums[:, 1]), (0.025, 0.975))
    return float(low), float(high)


@dataclass(frozen=True)
class Row:
    """One record: error [m] of each plain setting and of the default, and how many lines the default took.

    ``bracket`` holds 95% of the ratio of the default to the best plain setting, chosen by the last quarter itself.
    """

    name: str
    plain: dict[str, float]
    default: float
    bracket: tuple[float, float]
    lines: int
    choice: str

    @property
    def ratio(self) -> float:
        """Error of the default over that of the best plain setting."""
        return self.default / min(self.plain.values())


def row(name: str, record: xarray.Dataset, latitude: float) -> Row:
    """Fit the first three quarters of a record by every setting, and predict the last."""
    times = record["time"].values
    border = times[0] + (times[-1] - times[0]) * 3 // 4
    early = record.isel(time=slice(0, int(np.searchsorted(times, border))))
    late_times, late_levels = good_values(record.isel(time=slice(int(np.searchsorted(times, border)), None)))
    left = {how: quick_left(model, late_times, late_levels) for how, model in plain(early, latitude)}
    errors = {how: float(np.nanstd(one)) for how, one in left.items()}
    model = tidecore.fit(early, latitude=latitude)
    assert model.diagnostics is not None
    assert model.diagnostics.choice is not None
    choice = model.diagnostics.choice
    how = str(choice["kind"])
    if "tidal" in choice:
        taken = choice["tidal"]["tried"][choice["tidal"]["taken"]]
        how = f"{taken['list']} {taken['least_power']:g}" + (", node" if choice["node_powers"]["taken"] else "")
    own, best = quick_left(model, late_times, late_levels), left[min(errors, key=errors.__getitem__)]
    span = bracket(late_times, own, best)
    return Row(name, errors, float(np.nanstd(own)), span, len(model.constituents), how)


@dataclass(frozen=True)
class Score:
    """Standard deviation [m] against the truth, mean absolute differences in time of HW and LW [minutes]."""

    deviation: float
    high: float
    low: float


def score(model: tidecore.TideModel, gauge: ChannelGauge) -> Score:
    """Return how far a model is from the truth of the channel."""
    difference = model.heights(gauge.truth_grid) - gauge.truth
    return Score(float(difference.std()), *(_turning_error(model, gauge, sign) for sign in (1.0, -1.0)))


def _turning_error(model: tidecore.TideModel, gauge: ChannelGauge, sign: float) -> float:
    """Return the mean absolute difference in time [minutes] of the high (1) or low (-1) waters."""
    truth = _peaks(sign * gauge.truth, gauge.truth_grid.step_us / 60e6)
    found = _peaks(sign * model.heights(gauge.truth_grid), gauge.truth_grid.step_us / 60e6)
    at = np.clip(np.searchsorted(found, truth), 1, len(found) - 1)
    near = np.minimum(np.abs(found[at] - truth), np.abs(found[at - 1] - truth))
    return float(np.mean(near[near < 180.0]))


def _peaks(levels: FloatArray, step: float) -> FloatArray:
    """Return the times [minutes] of the maxima that are the highest within three hours, by a parabola."""
    reach = round(180.0 / step)
    windows = np.lib.stride_tricks.sliding_window_view(levels, 2 * reach + 1)
    at = np.flatnonzero(windows.argmax(axis=1) == reach) + reach
    before, middle, after = levels[at - 1], levels[at], levels[at + 1]
    peaks: FloatArray = (at + 0.5 * (before - after) / (before - 2.0 * middle + after)) * step
    return peaks


def channel_table() -> Iterator[str]:
    """Return the lines of the first table."""
    gauge = shallow_gauge()
    record, latitude = gauge.record, float(gauge.record.attrs["latitude"])
    yield f"{'channel':<12} {'lines':>5} {'std cm':>7} {'HW min':>7} {'LW min':>7}"
    models = [*plain(record, latitude), ("default", tidecore.fit(record, latitude=latitude))]
    for name, model in models:
        of = score(model, gauge)
        yield f"{name:<12} {len(model.constituents):>5} {100 * of.deviation:>7.2f} {of.high:>7.2f} {of.low:>7.2f}"


def records_table(where: Path) -> Iterator[str]:
    """Return the lines of the second table: errors in cm."""
    heads = f"{'auto':>7} {'SNR 2':>7} {'long':>7} {'default':>8} {'ratio':>6} {'of 95%':>14} {'lines':>5}"
    yield f"{'record':<50} {heads}  choice"
    for name, record, latitude in records(where):
        of = row(name, record, latitude)
        low, high = of.bracket
        cells = " ".join(f"{100 * error:>7.3f}" for error in of.plain.values())
        ratio = f"{of.ratio:>6.3f} {low:>7.3f}, {high:.3f}"
        yield f"{name:<50} {cells} {100 * of.default:>8.3f} {ratio} {of.lines:>5}  {of.choice}"


def time_table(where: Path) -> Iterator[str]:
    """Return the time of a default fit over that of one utide.solve without intervals, on Providence, alternating."""
    known = next(record for record in RECORDS if "providence" in record.path)
    record, latitude = tidecore.read_gauge(where / known.path, **known.hints), LATITUDES[known.path]
    times, levels = good_values(record)
    ticks = microseconds(times)
    names = list(tidecore.fit(record, latitude=latitude, constituents="rayleigh").constituents)

    def seconds(work: Callable[[], object]) -> float:
        begun = time.perf_counter()
        work()
        return time.perf_counter() - begun

    solved, fitted = [], []
    for _ in range(3):
        solved.append(seconds(lambda: solve(ticks, levels, latitude, names)))
        fitted.append(seconds(lambda: tidecore.fit(record, latitude=latitude)))
    yield (
        f"a default fit of {(ticks[-1] - ticks[0]) / US_PER_DAY / 365.25:.1f} years hourly: {min(fitted):.2f} s, "
        f"{min(fitted) / min(solved):.1f} times one utide.solve without intervals ({min(solved):.2f} s)"
    )


def main(arguments: list[str]) -> int:
    """Print what was asked for."""
    asked = set(arguments or ("channel", "records", "time"))
    if asked - {"channel"} and not folder().is_dir():
        sys.stderr.write(f"open gauge data not found at {folder()}; set EBBMARK_OPEN_DATA\n")
        return 1
    tables = (
        ("channel", channel_table),
        ("records", lambda: records_table(folder())),
        ("time", lambda: time_table(folder())),
    )
    for name, lines in tables:
        for line in lines() if name in asked else ():
            sys.stdout.write(line + "\n")
            sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
