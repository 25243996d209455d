"""A timeline at Portland ME (8418150) against the high and low waters that NOAA verified there, winter of 2016.

Sources as in ``test_extremes_portland``: observed times and constituents are NOAA's. A high water that the weather
left alone is one at which the timeline says 0 h from high water, the top of the tide, and a phase of a half.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.reference.test_extremes_portland import observed, published_tide
from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.rules import SpeciesRule
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import find_windows

#: The record leaves out 29 February.
START, END = np.datetime64("2016-01-05", "us"), np.datetime64("2016-02-28", "us")
#: Observed less predicted over five years: mean -1 min, standard deviation 7 min (measured beforehand).
MEAN_MIN, SPREAD_MIN = 3.0, 10.0


@pytest.fixture(scope="module")
def timeline(open_data: Path) -> Timeline:
    tide = published_tide(open_data / "noaa" / "constituents_for_records")
    model = TideModel.made_of(tide, "8418150", "MSL", None, "published")
    mark = Mark.parse(
        {
            "name": "Gauge",
            "latitude": 43.658,
            "longitude": -70.244,
            "time_zone": "America/New_York",
            "station": "8418150",
            "kind": "pier_or_wall",
        }
    )
    return build_timeline(mark, model, START, END)


@pytest.fixture(scope="module")
def waters(open_data: Path) -> tuple[np.ndarray, np.ndarray]:
    """Observed high and low waters inside the span [UTC]."""
    times, ranks = observed(open_data)
    inside = (times >= START) & (times < END)
    high = np.isin(ranks, ("H", "HH"))
    return times[inside & high], times[inside & ~high]


def test_observed_waters_are_at_nought_hours(timeline: Timeline, waters: tuple[np.ndarray, np.ndarray]) -> None:
    for times, name, phase in zip(
        waters, ("hours_from_hw", "hours_from_lw"), ("top_of_the_tide", "bottom_of_the_tide"), strict=True
    ):
        assert times.size > 100
        found = timeline.at(times, [name, "named_phase", "named_phase_basis"])
        minutes = found[name] * 60.0
        assert abs(minutes.mean()) < MEAN_MIN
        assert minutes.std() < SPREAD_MIN
        assert set(found["named_phase"]) == {phase}
        assert set(found["named_phase_basis"]) == {"level"}


def test_observed_waters_are_at_the_ends_of_the_phase(
    timeline: Timeline, waters: tuple[np.ndarray, np.ndarray]
) -> None:
    high, low = (timeline.at(times, ["tide_phase", "fraction"]) for times in waters)
    np.testing.assert_allclose(high["tide_phase"], 0.5, atol=0.05)
    np.testing.assert_allclose((low["tide_phase"] + 0.5) % 1.0, 0.5, atol=0.05)
    assert high["fraction"].min() > 0.98
    assert low["fraction"].max() < 0.02


def test_windows_about_low_water_hold_the_observed_one(
    timeline: Timeline, waters: tuple[np.ndarray, np.ndarray]
) -> None:
    around = {"kind": "trapezoid", "from": -1.0, "full_from": -1.0, "full_to": 1.0, "to": 1.0}
    rule = SpeciesRule.parse(
        {
            "name": "an hour either side of low water",
            "species": {"scientific_name": "Limanda limanda", "fao_code": "DAB"},
            "require": [{"factor": "hours_from_lw", "shape": around}],
        }
    )
    windows = [window for window in find_windows(rule, timeline) if not window.starts_before and not window.ends_after]
    _, low = waters
    for window in windows:
        assert window.duration_h == pytest.approx(2.0, abs=1e-4)
        assert np.count_nonzero((low >= window.start) & (low < window.end)) == 1
    assert len(windows) in (low.size - 1, low.size)
