"""Gauge records beside which TICON-4 has constituents, and what a prediction misses of them.

    python -m tests.reference.ticon_records

prints, for each record, the standard deviation of observed minus predicted level [m] with the constituents taken as
convention "ticon" and as "utide": what is slower than 40 hours (Lanczos, 81 weights) and what is faster.
TICON-4: Hart-Davis et al. 2025, SEANOE, doi:10.17882/109129 (CC BY 4.0).
"""

from __future__ import annotations

import csv
import os
import sys
from pathlib import Path

import numpy as np

from tests.reference import published
from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_HOUR, from_microseconds

#: TICON-4's name -> that of convention "utide".
RENAMED = {
    "M1": "NO1", "SGM": "SIG1", "EP2": "EPS2", "LAMBDA2": "LDA2", "MA2": "H1", "MB2": "H2", "R3": "SK3", "T3": "SP3",
}  # fmt: skip
#: Names that convention "utide" has nothing for.
WITHOUT = ("MTM", "MSQM", "S3", "3L2", "3N2")
#: Record -> id in TICON-4.
RECORDS = {
    "Nuuk 2014-2020": "ticon/nuuk_godthaab-820-dnk-uhslc_fd",
    "Chatham 2009-2011": "ticon/chatham-079-nzl-uhslc_fd",
    "Hillarys 2012-2014": "ticon/hillarys-62237-aus-bom",
    "Portland VIC 2012-2014": "ticon/portland-61410-aus-bom",
    "Honolulu 2010": "ticon/honolulu-1612340-usa-noaa",
}


def hourly(name: str, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Every hour [us] from the first value to the last, and levels [m], NaN where there is none."""
    if name.startswith(("Nuuk", "Chatham")):
        rows = np.loadtxt(folder / "uhslc" / ("h820.csv" if "Nuuk" in name else "h079_2009-2011.csv"), delimiter=",")
        stamps = [f"{int(y):04d}-{int(m):02d}-{int(d):02d}T{int(h):02d}" for y, m, d, h in rows[:, :4]]
        times, levels = np.array(stamps, dtype="datetime64[us]").astype(np.int64), rows[:, 4] / 1000.0
        levels[levels < -30.0] = np.nan
    elif name.startswith("Honolulu"):
        levels = np.loadtxt(folder / "honolulu" / "HNL2010.asc")[:, 1] / 1000.0
        times = int(np.datetime64("2010-01-01", "us").astype(np.int64)) + US_PER_HOUR * np.arange(len(levels))
    else:
        file = folder / "bom" / ("hillarys_2012-2014_hourly.csv" if "Hill" in name else "portland_2012-2014_hourly.csv")
        with file.open(encoding="utf-8", newline="") as text:
            given = list(csv.reader(text))[1:]
        stamps = [row[0].replace(" ", "T").rstrip("Z") for row in given]
        times = np.array(stamps, dtype="datetime64[us]").astype(np.int64)
        levels = np.array([float(row[1]) if row[1] not in ("", "NA") else np.nan for row in given])
    whole = np.arange(times[0], times[-1] + 1, US_PER_HOUR)
    out = np.full(len(whole), np.nan)
    out[(times - times[0]) // US_PER_HOUR] = levels
    return whole, out


def low_pass(values: np.ndarray) -> np.ndarray:
    """40-hour Lanczos filter of hourly values, NaN where a weight meets a gap or an end."""
    hours = np.arange(-40, 41)
    weights = np.sinc(2 * hours / 40.0) * np.sinc(hours / 40.0)
    out = np.full(len(values), np.nan)
    out[40:-40] = np.convolve(values, weights / weights.sum(), mode="valid")
    return out


def harmonics(lines: published.Constituents, latitude: float, convention: str) -> Harmonics:
    """The constituents of TICON-4 in a convention; in "utide" those that it has a name for."""
    if convention == "utide":
        lines = {RENAMED.get(name, name): line for name, line in lines.items() if name not in WITHOUT}
    return Harmonics.from_mapping(lines, latitude, 0.0, convention)


def missed(folder: Path, name: str, convention: str) -> tuple[float, float]:
    """Standard deviation of observed minus predicted [m], slower and faster than 40 hours."""
    station = RECORDS[name]
    latitude = float(published.station_rows(folder / "ticon4")[station]["latitude"])
    tide = harmonics(published.constituents(folder / "ticon4")[station], latitude, convention)
    times, levels = hourly(name, folder)
    difference = levels - tide.heights(from_microseconds(times))
    slow = low_pass(difference)
    return float(np.nanstd(slow)), float(np.nanstd(difference - slow))


def main() -> None:
    """Print the table."""
    folder = Path(os.environ.get("EBBMARK_OPEN_DATA", Path(__file__).resolve().parents[3] / "shared" / "data"))
    lines = [f"{'':24s}  slower: ticon   utide   faster: ticon   utide   [m]"]
    for name in RECORDS:
        (slow, fast), (other_slow, other_fast) = (missed(folder, name, one) for one in ("ticon", "utide"))
        lines.append(f"{name:24s}  {slow:13.4f}  {other_slow:6.4f}  {fast:13.4f}  {other_fast:6.4f}")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
