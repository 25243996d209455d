"""Published constituents, datums and predictions as they stand in the folder of open data."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np

Constituents = dict[str, tuple[float, float]]


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def station_rows(folder: Path) -> dict[str, dict[str, str]]:
    """What is said of each station, by id."""
    return {row.get("station_id") or row["id"]: row for row in _rows(folder / "stations.csv")}


def constituents(folder: Path) -> dict[str, Constituents]:
    """Name -> (amplitude [m], Greenwich phase lag [degrees]) of each station, by id."""
    found: dict[str, Constituents] = {}
    for row in _rows(folder / "constituents.csv"):
        line = float(row["amplitude_m"]), float(row["phase_GMT_deg"])
        found.setdefault(row.get("station_id") or row["id"], {})[row["constituent"]] = line
    return found


def datums(folder: Path) -> dict[str, dict[str, float]]:
    """Datum -> value of each station, by id: levels in metres above station datum, ranges in metres."""
    found: dict[str, dict[str, float]] = {}
    for row in _rows(folder / "datums.csv"):
        found.setdefault(row["station_id"], {})[row["datum"]] = float(row["value"])
    return found


def predictions(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Times [UTC] and levels [m] of one answer of NOAA's prediction service."""
    rows = json.loads(path.read_text(encoding="utf-8"))["predictions"]
    times = np.array([row["t"].replace(" ", "T") for row in rows], dtype="datetime64[us]")
    return times, np.array([float(row["v"]) for row in rows])


def series(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Times, as they stand, and levels [m] of a table of two columns."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))[1:]
    times = np.array([row[0].replace(" ", "T").rstrip("Z") for row in rows], dtype="datetime64[us]")
    return times, np.array([float(row[1]) for row in rows])
