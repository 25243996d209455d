"""The daily range and its cycle at real stations, from NOAA's published constituents.

Constituents and datums: NOAA CO-OPS, epoch 1983-2001 (US public domain). They are used with utide's node factors and
without SA, whose argument NOAA counts otherwise; neither moves a range by more than some centimetres.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.reference.records import table
from tidecore.datums.range_cycle import epoch_cycle, range_cycle
from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY

#: NOAA's name -> utide's for the same line.
NAMES = {"LAM2": "LDA2", "M1": "NO1", "RHO": "RHO1", "2MK3": "MO3"}


def published_tide(open_data: Path, station: str) -> Harmonics:
    folder = open_data / "noaa_constituents"
    lines = {
        NAMES.get(row["constituent"], row["constituent"]): (float(row["amplitude_m"]), float(row["phase_GMT_deg"]))
        for row in table(folder / "constituents.csv")
        if row["station_id"] == station and row["constituent"] != "SA"
    }
    latitude = next(float(r["latitude"]) for r in table(folder / "stations.csv") if r["station_id"] == station)
    return Harmonics.from_mapping(lines, latitude, 0.0, "utide")


@pytest.mark.parametrize(
    "station",
    ["8443970", "1820000", "9414290", "9710441", "1617760", "1890000"],
    ids=["Boston", "Kwajalein", "San Francisco", "Settlement Point", "Hilo", "Wake"],
)
def test_mean_daily_range_is_the_published_great_diurnal_range(open_data: Path, station: str) -> None:
    # GT = MHHW - MLLW: highest high to lowest low of each tidal day, of observed water. 5 cm: weather.
    rows = table(open_data / "noaa_constituents" / "datums.csv")
    published = next(float(r["value"]) for r in rows if r["station_id"] == station and r["datum"] == "GT")
    cycle = range_cycle(published_tide(open_data, station), np.datetime64("1983-01-01"), np.datetime64("2002-01-01"))
    assert cycle.daily_range.mean() == pytest.approx(published, abs=0.05)


@pytest.mark.parametrize(
    ("station", "kind", "days"),
    [
        # springs to springs 14.765 days (common practice)
        ("1820000", "springs-neaps", 14.765),
        ("1890000", "springs-neaps", 14.765),
        ("8443970", "springs-neaps", 14.765),
        # tropic to tropic: half a tropical month of 27.3216 days (from memory)
        ("9751082", "tropic-equatorial", 13.6608),
        ("8763535", "tropic-equatorial", 13.6608),
        ("9462450", "tropic-equatorial", 13.6608),
    ],
    ids=["Kwajalein", "Wake", "Boston", "Grapetree Bay", "Texas Gas Platform", "Nikolski"],
)
def test_cycle_of_the_range_has_its_length_in_the_mean(open_data: Path, station: str, kind: str, days: float) -> None:
    cycle = epoch_cycle(published_tide(open_data, station))
    assert cycle.kind == kind
    for instants in (cycle.springs_us, cycle.neaps_us):
        # none left out and none put in: 18.6 years hold some 460 (498); an end counts for up to four days
        assert np.diff(instants).mean() / US_PER_DAY == pytest.approx(days, abs=0.01)
