"""Predicted high and low waters against those NOAA verified at Portland ME (8418150), 2015 to 2019.

Observed: NOAA CO-OPS verified high and low waters (US public domain), feet above MLLW, in America/New_York clock time,
by way of the data of the Casco Bay Estuary Partnership (MIT). Constituents: NOAA's published list for the station,
epoch 1983-2001. They are used here with utide's node factors and argument of SA, some centimetres from NOAA's own
prediction, which the weather of each day exceeds by far.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.reference.records import table
from tidecore.extremes import Extremes, find_extremes
from tidecore.harmonics import Harmonics
from tidecore.units import UtcTimes

STATION = "8418150"
Waters = tuple[Extremes, UtcTimes, np.ndarray]
#: NOAA's name -> utide's for the same line.
NAMES = {"LAM2": "LDA2", "M1": "NO1", "RHO": "RHO1", "2MK3": "MO3"}


def published_tide(folder: Path) -> Harmonics:
    lines = {
        NAMES.get(row["constituent"], row["constituent"]): (float(row["amplitude_m"]), float(row["phase_GMT_deg"]))
        for row in table(folder / "constituents.csv")
        if row["station_id"] == STATION
    }
    lines.pop("SA")  # its argument is counted otherwise by NOAA
    return Harmonics.from_mapping(lines, 43.65806, 0.0, "utide")


def observed(folder: Path) -> tuple[UtcTimes, np.ndarray]:
    """UTC times and ranks (H, HH, L, LL)."""
    zone = ZoneInfo("America/New_York")
    rows = table(folder / "noaa" / "portland_8418150_high_low_observed_2015-2019.csv")
    stamps = [datetime.strptime(r["DateTime"], "%Y-%m-%d %H:%M").replace(tzinfo=zone).astimezone(UTC) for r in rows]
    times = np.array([stamp.replace(tzinfo=None) for stamp in stamps], dtype="datetime64[us]")
    return times, np.array([r[" Sigma"].strip() for r in rows])


@pytest.fixture(scope="module")
def waters(open_data: Path) -> Waters:
    times, ranks = observed(open_data)
    tide = published_tide(open_data / "noaa" / "constituents_for_records")
    margin = np.timedelta64(3, "h")
    return find_extremes(tide, times.min() - margin, times.max() + margin), times, ranks


def matched(waters: Waters, kind: str) -> tuple[Extremes, UtcTimes, np.ndarray, np.ndarray]:
    """Predicted waters of a kind, and for each observed one its time, its rank and the index of the nearest."""
    events, times, ranks = waters
    ours = events.select(events.kind == kind)
    chosen = np.isin(ranks, ("H", "HH") if kind == "high" else ("L", "LL"))
    order = np.argsort(times[chosen])
    seen = times[chosen][order]
    before = np.clip(np.searchsorted(ours.time, seen) - 1, 0, len(ours) - 2)
    nearest = np.where(seen - ours.time[before] <= ours.time[before + 1] - seen, before, before + 1)
    return ours, seen, ranks[chosen][order], nearest


@pytest.mark.parametrize("kind", ["high", "low"])
def test_every_observed_water_has_its_predicted_one_and_no_other(waters: Waters, kind: str) -> None:
    assert len(waters[1]) == 7052
    assert np.all(waters[0].primary)
    ours, seen, _, nearest = matched(waters, kind)
    assert len(seen) == 3526
    assert np.array_equal(np.unique(nearest), nearest)
    late = (seen - ours.time[nearest]) / np.timedelta64(1, "m")
    assert abs(late.mean()) < 2.0
    assert late.std() < 8.0
    assert np.abs(late).max() < 75.0  # weather: 16 November 2018, 30 October 2017
    # The file leaves 29 February 2016 out, and a low water in the clock hour given twice in November 2018.
    left_out = np.setdiff1d(ours.time[1:-1], ours.time[nearest])
    assert set(left_out.astype("datetime64[D]").astype(str)) <= {"2016-02-29", "2016-03-01", "2018-11-04"}
    assert left_out.size <= 3


@pytest.mark.parametrize(("kind", "best"), [("high", "HH"), ("low", "LL")])
def test_ranks_are_noaas_where_the_waters_of_a_day_differ_by_more_than_weather(
    waters: Waters, kind: str, best: str
) -> None:
    ours, _, theirs, nearest = matched(waters, kind)
    rank, day, height = ours.rank[nearest], ours.tide_id[nearest] // 2, ours.height[nearest]
    first = np.flatnonzero((day[1:] == day[:-1]) & (np.abs(np.diff(height)) > 0.3))
    assert first.size > 300
    both = np.concatenate((first, first + 1))
    assert np.mean((theirs[both] == best) == (rank[both] == best)) > 0.95
