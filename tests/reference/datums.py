"""Tidal datums from published constituents against published datums, over 1983 to 2001.

    python -m tests.reference.datums
    python -m tests.reference.datums rules

The first prints computed minus published [cm] of 40 reference stations (NOAA CO-OPS, US public domain), levels above
MSL on both sides, since constituents are about it and published datums above station datum. HAT and LAT are
predictions on both sides. The others are published from observed levels, in which there is weather: the table below
shows, for two records, that tabulating what was observed and what is predicted over the same span differs as much,
and alike. The second prints at how many stations other rules would keep the means within the limit, and shifts fitted
to what is published, which no prediction knows.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np

from tests.reference import published
from tidecore.datums import TidalDatums, tidal_datums
from tidecore.extremes import Extremes, find_extremes
from tidecore.extremes.grouping import group_tides
from tidecore.harmonics import Harmonics
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.roots.stationary import stationary_points
from tidecore.timebase import US_PER_HOUR, TimeSpan, from_microseconds

#: The epoch of the published datums.
SPAN = TimeSpan(np.datetime64("1983-01-01", "us"), np.datetime64("2002-01-01", "us"))
MEANS = ("MHHW", "MHW", "MLW", "MLLW")
EXTREMES = ("HAT", "LAT")
#: What the means are held to [m].
LIMIT = 0.045
#: Days that the second table counts high and low waters to, besides lunar ones.
OTHER_DAYS = ("lunar days, paired otherwise", "calendar days")

_LOW = "observed low waters lie lower than predicted ones, as at Providence below: weather, likely run-off too"
_SMALL = "observed high waters lie higher than predicted ones beside a range under 0.5 m: weather"
_OTHER = "published means are not of the tide that the published constituents make, whose HAT and LAT agree"
#: Stations at which one of the means is further off than the limit, and what was found there; "likely" is no finding.
CAUSES = {
    "8658741": _LOW,
    "8579997": _LOW,
    "8410834": "0.8% of a range of 6.3 m, at high and low waters alike: predicted tides are that much too small",
    "8667612": _LOW + "; a tide with MSL 15 cm above mean tide level",
    "8417134": _LOW + "; no SA and SSA among its constituents",
    "8518995": _LOW,
    "8447505": _LOW,
    "9469031": _OTHER + ": diurnal range published 0.91 m, computed 1.26 m; likely another season's record",
    "9447973": _LOW,
    "8764025": _SMALL,
    "9468691": _OTHER + ": mean range published 0.74 m, computed 0.99 m; likely another season's record",
    "8763535": _SMALL,
    "8771722": _SMALL,
}
#: Records for the second table: file, columns of hours after UTC, id.
RECORDS = {
    "Providence 2014-2017": ("providence_8454000_hourly_2014-2017_MLLW.csv", 5, "8454000"),
    "New London 2013": ("newlondon_8461490_2013_hourly_MHW_gmt.csv", 0, "8461490"),
}


def computed(folder: Path, station: str) -> TidalDatums:
    """The datums of a station above its MSL."""
    latitude = float(published.station_rows(folder)[station]["latitude"])
    tide = Harmonics.from_mapping(published.constituents(folder)[station], latitude, 0.0, "noaa")
    return tidal_datums(tide, "MSL", SPAN)


def differences(folder: Path, station: str) -> dict[str, float]:
    """Computed minus published level [m] of each datum, both above MSL."""
    theirs, ours = published.datums(folder)[station], computed(folder, station).levels
    found = {}
    for name in (*MEANS, *EXTREMES):
        level = ours[name]
        assert level is not None
        found[name] = level - (theirs[name] - theirs["MSL"])
    return found


def tabulated(times_us: np.ndarray, levels: np.ndarray, tide: Harmonics) -> dict[str, float]:
    """The four means of hourly levels without gaps [m], their turning points taken from a cubic spline."""
    from scipy.interpolate import CubicSpline

    a3, a2, a1, a0 = CubicSpline(np.arange(len(levels)) * 2.0, levels).c
    # From powers of s, 0 to 2 in each hour, to powers of u = s - 1.
    powers = np.stack([a0 + a1 + a2 + a3, a1 + 2 * a2 + 3 * a3, a2 + 3 * a3, a3], axis=1)
    points = stationary_points(PiecewisePolynomial(int(times_us[0]), US_PER_HOUR, powers))
    cycles = tide.m2_cycles(np.rint(points.times_us).astype(np.int64))
    groups = group_tides(points.times_us, points.values, points.maximum, cycles, tide.form_number)
    primary = groups.primary == np.arange(len(points))
    found = {}
    for higher, mean, high, best in (("MHHW", "MHW", True, np.maximum), ("MLLW", "MLW", False, np.minimum)):
        chosen = primary & (points.maximum == high)
        days = np.rint(cycles[chosen]) // 2 if high else np.floor(cycles[chosen]) // 2
        values = points.values[chosen]
        first = np.flatnonzero(np.append(True, days[1:] != days[:-1]))
        found[mean], found[higher] = float(values.mean()), float(best.reduceat(values, first).mean())
    return found


def seen_and_predicted(folder: Path, name: str) -> tuple[dict[str, float], dict[str, float]]:
    """The four means of what was observed, and of what is predicted for the same hours [m], both about their mean."""
    file, hours, station = RECORDS[name]
    constants = folder / "constituents_for_records"
    latitude = float(published.station_rows(constants)[station]["latitude"])
    tide = Harmonics.from_mapping(published.constituents(constants)[station], latitude, 0.0, "noaa")
    stamps, levels = published.series(folder / file)
    times = stamps.astype(np.int64) + hours * US_PER_HOUR
    predicted = tide.heights(from_microseconds(times))
    return tuple(tabulated(times, one - one.mean(), tide) for one in (levels, predicted))  # type: ignore[return-value]


def by_rule(folder: Path) -> dict[str, np.ndarray]:
    """Computed minus published [m] of `MEANS` at every station, shape ``(stations, 4)``, by rule of tabulation."""
    rows, lines, theirs = published.station_rows(folder), published.constituents(folder), published.datums(folder)
    found: dict[str, list[list[float]]] = {}
    for station, row in rows.items():
        known = np.array([theirs[station][name] - theirs[station]["MSL"] for name in MEANS])
        hours_east = float(row["longitude"]) / 15.0
        seasonless = {name: line for name, line in lines[station].items() if name not in ("SA", "SSA")}
        for rule, chosen in (("lunar days", lines[station]), ("without SA, SSA", seasonless)):
            tide = Harmonics.from_mapping(chosen, float(row["latitude"]), 0.0, "noaa")
            every = find_extremes(tide, SPAN.start, SPAN.end)
            highs, lows = (one.select(one.primary) for one in (every.highs(), every.lows()))
            kinds = [rule] if chosen is seasonless else [rule, *OTHER_DAYS]
            for name in kinds:
                days = [_days(name, waters, hours_east) for waters in (highs, lows)]
                higher, lower = _of_days(days[0], highs.height), -_of_days(days[1], -lows.height)
                ours = np.array([higher, highs.height.mean(), lows.height.mean(), lower])
                found.setdefault(name, []).append(list(ours - known))
    return {name: np.array(each) for name, each in found.items()}


def _days(rule: str, waters: Extremes, hours_east: float) -> np.ndarray:
    """The day that each high or low water is counted to."""
    if rule == "calendar days":
        return np.floor((waters.times_us() / US_PER_HOUR + hours_east) / 24.0)
    return (waters.tide_id + int(rule == "lunar days, paired otherwise")) // 2


def _of_days(days: np.ndarray, heights: np.ndarray) -> float:
    """Mean of the highest of each day."""
    first = np.flatnonzero(np.append(True, days[1:] != days[:-1]))
    return float(np.maximum.reduceat(heights, first).mean())


def within(found: np.ndarray) -> int:
    """Return at how many stations all four are within the limit."""
    return int((np.abs(found).max(axis=1) <= LIMIT).sum())


def best_shifts(found: np.ndarray) -> tuple[int, tuple[float, ...]]:
    """Return the most stations that one shift [m] of each datum, the same everywhere, keeps within the limit."""
    steps = np.arange(-0.04, 0.0401, 0.005)
    met = np.abs(found[:, :, None] + steps) <= LIMIT
    high = met[:, 0, :, None] & met[:, 1, None, :]
    low = met[:, 2, :, None] & met[:, 3, None, :]
    counts = np.einsum("sab,scd->abcd", high.astype(np.float32), low.astype(np.float32))
    best = np.unravel_index(int(np.argmax(counts)), counts.shape)
    return int(counts[best]), tuple(float(steps[at]) for at in best)


def rules(folder: Path) -> None:
    """Print at how many stations each rule, and each fitted shift, keeps the means within the limit."""
    write = sys.stdout.write
    for name, found in by_rule(folder).items():
        own = 0.5 * (found.max(axis=1) + found.min(axis=1))
        write(f"{name:30s} {within(found)} of 40; with a shift fitted to each station {within(found - own[:, None])}; ")
        count, shifts = best_shifts(found)
        centimetres = ", ".join(f"{what} {100 * shift:+.1f}" for what, shift in zip(MEANS, shifts, strict=True))
        write(f"with one fitted to each datum {count} ({centimetres} cm)\n")


def main() -> None:
    """Print both tables."""
    root = Path(os.environ.get("EBBMARK_OPEN_DATA", Path(__file__).resolve().parents[3] / "shared" / "data"))
    write = sys.stdout.write
    folder = root / "noaa_constituents"
    if sys.argv[1:] == ["rules"]:
        rules(folder)
        return
    names = (*MEANS, *EXTREMES)
    write("computed minus published, above MSL [cm]; max: of the four means; free: with their mean taken off\n")
    write(f"{'':36s}" + "".join(f"{name:>7s}" for name in names) + "    max   free\n")
    met = free_met = extremes_met = 0
    for station, row in published.station_rows(folder).items():
        found = differences(folder, station)
        means = np.array([found[name] for name in MEANS])
        worst, free = np.abs(means).max(), np.abs(means - means.mean()).max()
        met, free_met = met + int(worst <= LIMIT), free_met + int(free <= LIMIT)
        extremes_met += max(abs(found[name]) for name in EXTREMES) <= LIMIT
        write(f"{station} {row['name'][:27]:27s}" + "".join(f"{100 * found[name]:7.1f}" for name in names))
        write(f"{100 * worst:7.1f}{100 * free:7.1f}  {'' if worst <= LIMIT else CAUSES[station]}\n")
    write(f"the four means within {100 * LIMIT} cm at {met} of 40, HAT and LAT at {extremes_met}; ")
    write(f"with the mean of the four differences taken off, at {free_met}\n\n")
    write("predicted minus observed over the same hours, and computed minus published of 1983 to 2001 [cm]\n")
    for name, (_, _, station) in RECORDS.items():
        seen, predicted = seen_and_predicted(root / "noaa", name)
        other = differences(root / "noaa" / "constituents_for_records", station)
        both = (f"{one} {100 * (predicted[one] - seen[one]):+.1f} {100 * other[one]:+.1f}" for one in MEANS)
        write(f"{name:24s}  " + "   ".join(both) + "\n")


if __name__ == "__main__":
    main()
