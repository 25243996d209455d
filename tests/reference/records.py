"""Published records and tables, read in place; each function names its source."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray

from tidecore.gauges import read_gauge
from tidecore.units import FloatArray, UtcTimes


@dataclass(frozen=True)
class Line:
    """One published constituent: amplitude [m] and Greenwich phase lag [degrees]."""

    amplitude: float
    phase: float


def table(path: Path) -> list[dict[str, str]]:
    """Return the rows of a CSV file with comment lines."""
    with path.open(encoding="utf-8") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def good_values(record: xarray.Dataset) -> tuple[UtcTimes, FloatArray]:
    """Return times and levels [m] of the values that a fit would take."""
    kept = np.isfinite(record["sea_level"].values)
    if "quality" in record:
        kept &= np.isin(record["quality"].values, (1, 2))
    return record["time"].values[kept], record["sea_level"].values[kept].astype(np.float64)


def honolulu(folder: Path) -> xarray.Dataset:
    """Honolulu 2010, hourly: the test record of UTide's Python port (MIT), 8760 values in millimetres.

    Its times are days since 1700-01-01 with seven decimals, off the hour by some milliseconds; the reader puts them
    on the hour.
    """
    return read_gauge(
        folder / "honolulu" / "HNL2010.asc",
        format="csv",
        time=0,
        level=1,
        header=False,
        time_unit="days since 1700-01-01",
        unit="mm",
        zone="UTC",
        datum="unknown",
    )


def honolulu_as_written(folder: Path) -> xarray.Dataset:
    """The same record at the times as written, milliseconds off the hour, which the reference was computed with."""
    days = np.loadtxt(folder / "honolulu" / "HNL2010.asc")[:, 0]
    ticks = np.rint((days - 98_615.0) * 86_400e6).astype(np.int64)  # 1700-01-01 is 98,615 days before 1970
    return honolulu(folder).assign_coords(time=ticks.view("datetime64[us]"))


def honolulu_reference(folder: Path, name: str = "HNL2010_reference.csv") -> dict[str, Line]:
    """Output of the MATLAB original of UTide (Codiga 2011) for the same record, trend removed."""
    rows = table(folder / "honolulu" / name)
    return {row["name"]: Line(float(row["A_mm"]) / 1000, float(row["g_deg"])) for row in rows}


def tuktoyaktuk(folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Tuktoyaktuk 1975 (station 6485), hourly [m]: times as UTC, as both published analyses take them.

    Foreman (1977), Pacific Marine Science Report 77-10, Appendix 7.2.
    """
    times, levels = [], []
    for line in (folder / "tuktoyaktuk" / "tuk_time_elev.dat").read_text(encoding="ascii").splitlines():
        stamp, level = line.split("\t")
        day, month, rest = stamp.strip('"').split("-")
        month_number = 1 + "JanFebMarAprMayJunJulAugSepOctNovDec".index(month) // 3
        year, clock = rest.split(" ")
        if level.strip() != "NA":
            times.append(np.datetime64(f"{year}-{month_number:02d}-{day}T{clock}", "us"))
            levels.append(float(level))
    return np.array(times), np.array(levels)


def foreman(folder: Path) -> dict[str, Line]:
    """Foreman (1977), Appendix 7.3: 39 constituents of Tuktoyaktuk 1975."""
    rows = table(folder / "tuktoyaktuk" / "foreman1977_appendix7.3.csv")
    return {row["name"]: Line(float(row["A_m"]), float(row["G_deg"])) for row in rows}


def pawlowicz(folder: Path) -> dict[str, Line]:
    """Pawlowicz, Beardsley and Lentz (2002), Computers & Geosciences 28, Table 1: the same record by T_TIDE."""
    rows = table(folder / "tuktoyaktuk" / "pawlowicz2002_table1.csv")
    return {row["name"]: Line(float(row["amplitude"]), float(row["phase"])) for row in rows}
