"""Tidal datums against published ones; all 40 stations: ``python -m tests.reference.datums``.

NOAA CO-OPS, levels and constituents of reference stations, epoch 1983 to 2001 (US public domain).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.reference import datums, published
from tidecore.datums import EPOCH, epoch_cycle
from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY

#: Semidiurnal, mixed, mixed diurnal and diurnal.
SOME = (
    "8443970",  # Boston
    "9414290",  # San Francisco
    "1617760",  # Hilo
    "1840000",  # Chuuk
    "9462450",  # Nikolski
    "9751082",  # Grapetree Bay
    "8737138",  # William Brooks Park
)
#: HAT and LAT are predictions on both sides [m]; seen is 2.5 cm at most at all 40.
SAME_TIDE = 0.026


@pytest.mark.parametrize("station", SOME)
def test_datums_are_the_published_ones(open_data: Path, station: str) -> None:
    found = datums.differences(open_data / "noaa_constituents", station)
    for name in datums.MEANS:
        assert abs(found[name]) < datums.LIMIT, name
    for name in datums.EXTREMES:
        assert abs(found[name]) < SAME_TIDE, name


@pytest.mark.parametrize(
    ("station", "kind", "days"),
    [
        ("8443970", "springs-neaps", 14.765),  # Boston, F = 0.16
        ("9414290", "springs-neaps", 14.765),  # San Francisco, 0.84
        ("9447973", "tropic-equatorial", 13.661),  # Whidbey Island, 1.54
        ("9462450", "tropic-equatorial", 13.661),  # Nikolski, 2.41
        ("9751082", "tropic-equatorial", 13.661),  # Grapetree Bay, 8.29
    ],
)
def test_the_range_follows_the_cycle_of_its_tide(open_data: Path, station: str, kind: str, days: float) -> None:
    """Mean distance of the largest ranges: 14.765 d by MSf, 13.661 d by Mf."""
    folder = open_data / "noaa_constituents"
    tide = Harmonics.from_mapping(published.constituents(folder)[station], 40.0, 0.0, "noaa")
    cycle = epoch_cycle(tide)
    assert cycle.kind == kind
    tops = cycle.inside(cycle.springs_us, EPOCH)
    # Where N2 is strong now and then a fortnight has no maximum that stands out, or two.
    assert float(np.median(np.diff(tops))) / US_PER_DAY == pytest.approx(days, abs=0.7)
    assert (np.diff(tops) >= 7 * US_PER_DAY).all()


def test_the_exceptions_are_stations_of_the_table(open_data: Path) -> None:
    stations = set(published.station_rows(open_data / "noaa_constituents"))
    assert len(stations) == 40
    assert set(datums.CAUSES) < stations
    assert not set(SOME) & set(datums.CAUSES)


def test_published_means_hold_the_weather_that_predictions_lack(open_data: Path) -> None:
    """What was observed, tabulated by the same rules, differs from its prediction as published datums do."""
    for name, (_, _, station) in datums.RECORDS.items():
        seen, predicted = datums.seen_and_predicted(open_data / "noaa", name)
        whole = datums.differences(open_data / "noaa" / "constituents_for_records", station)
        for level in datums.MEANS:
            assert predicted[level] - seen[level] == pytest.approx(whole[level], abs=0.008), (name, level)


def test_the_best_shift_of_each_datum_is_the_one_that_most_stations_ask_for() -> None:
    apart = np.array([[0.06, 0.0, 0.0, -0.06], [0.07, 0.0, 0.0, -0.07], [-0.06, 0.0, 0.0, 0.06], [0.2, 0.0, 0.0, 0.0]])
    count, shifts = datums.best_shifts(apart)
    assert count == 2
    assert shifts[0] < -0.02
    assert shifts[3] > 0.02
    assert datums.within(apart) == 0
