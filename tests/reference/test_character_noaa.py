"""Tidal characters against published means.

NOAA, Center for Operational Oceanographic Products and Services, published constituents and datums of 40 reference
stations, epoch 1983-2001: HWI and LWI (Greenwich intervals, hours), MN (mean range) and GT (great diurnal range) [m].
Published means are of observations, ours of the 37 constituents alone: shallow rivers (Albany), a tide that the sun
leads (Papeete) and gauges under ice (Koyuk, Shaktoolik) are told apart by name.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from tidecore.character import TidalCharacter, tidal_character
from tidecore.datums.range_cycle import range_cycle
from tidecore.harmonics import Harmonics
from tidecore.timebase import TimeSpan

EPOCH = TimeSpan(np.datetime64("1983-01-01", "us"), np.datetime64("2002-01-01", "us"))
RENAMED = {"LAM2": "LDA2", "RHO": "RHO1", "2MK3": "MO3", "M1": "NO1"}
#: The annual lines have another argument in this convention, and change no mean of tides.
LEFT_OUT = {"SA", "SSA", "S6", "M8"}
UNDER_ICE = {"9469031", "9468691"}
TYPES = {
    "semidiurnal": "semidiurnal",
    "mixed_semidiurnal": "mixed-semidiurnal",
    "mixed_diurnal": "mixed-diurnal",
    "diurnal": "diurnal",
}


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


@pytest.fixture(scope="module")
def published(open_data: Path) -> dict[str, dict[str, float]]:
    found: dict[str, dict[str, float]] = defaultdict(dict)
    for row in rows(open_data / "noaa_constituents" / "datums.csv"):
        found[row["station_id"]][row["datum"]] = float(row["value"])
    return found


@pytest.fixture(scope="module")
def classes(open_data: Path) -> dict[str, str]:
    return {row["station_id"]: row["tide_class"] for row in rows(open_data / "noaa_constituents" / "stations.csv")}


@pytest.fixture(scope="module")
def characters(open_data: Path) -> dict[str, TidalCharacter]:
    lines: dict[str, dict[str, tuple[float, float]]] = defaultdict(dict)
    for row in rows(open_data / "noaa_constituents" / "constituents.csv"):
        name = RENAMED.get(row["constituent"], row["constituent"])
        if name not in LEFT_OUT and float(row["amplitude_m"]) > 0.0:
            lines[row["station_id"]][name] = float(row["amplitude_m"]), float(row["phase_GMT_deg"])
    found = {}
    for row in rows(open_data / "noaa_constituents" / "stations.csv"):
        tide = Harmonics.from_mapping(lines[row["station_id"]], float(row["latitude"]), 0.0, "utide")
        # Springs and neaps are not published: a month of their cycle is enough here.
        cycle = range_cycle(tide, EPOCH.start, EPOCH.start + np.timedelta64(30, "D"))
        found[row["station_id"]] = tidal_character(tide, EPOCH, cycle)
    assert len(found) == 40
    return found


def test_types_are_those_published(characters, classes) -> None:
    for station, one in characters.items():
        assert one.tide_type == TYPES[classes[station]], station


@pytest.mark.parametrize(("kind", "datum", "exception"), [("highs", "HWI", "1732417"), ("lows", "LWI", "8518995")])
def test_intervals(characters, published, kind, datum, exception) -> None:
    off = {}
    for station, one in characters.items():
        if datum in published[station]:
            found = getattr(one, kind).interval_h
            assert found is not None, station
            assert 0.0 <= found < 12.43
            off[station] = abs((found - published[station][datum] + 6.21) % 12.42 - 6.21)
    assert len(off) == 26
    assert {station for station, hours in off.items() if hours > 0.3} == {exception}
    assert max(off.values()) < 0.45
    assert np.median(list(off.values())) < 0.1


def test_diurnal_tides_have_no_interval(characters) -> None:
    # Nor are any published for them.
    for one in characters.values():
        if one.tide_type == "diurnal":
            assert one.highs.interval_h is None


@pytest.mark.parametrize(("field", "datum"), [("mean_range", "MN"), ("great_range", "GT")])
def test_ranges(characters, published, field, datum) -> None:
    off = {station: abs(getattr(one, field) - published[station][datum]) for station, one in characters.items()}
    assert max(metres for station, metres in off.items() if station not in UNDER_ICE) < 0.125
    assert max(off.values()) < 0.36
    assert np.median(list(off.values())) < 0.03
