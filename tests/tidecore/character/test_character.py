from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tidecore import TideModel
from tidecore.character import tidal_character, typical_fortnight
from tidecore.datums.range_cycle import epoch_cycle, range_cycle
from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics
from tidecore.timebase import TimeSpan

YEAR = TimeSpan(np.datetime64("2021-01-01", "us"), np.datetime64("2022-01-01", "us"))
SEASON = TimeSpan(np.datetime64("2021-01-01", "us"), np.datetime64("2021-03-01", "us"))
#: Hours between two M2 high waters.
M2_HOURS = 12.420601


def tide(level: float = 0.0, **lines: tuple[float, float]) -> Harmonics:
    return Harmonics.from_mapping(dict(lines), 50.0, level, "utide")


def of(harmonics: Harmonics, span: TimeSpan = YEAR) -> Any:
    return tidal_character(harmonics, span)


@settings(max_examples=5, deadline=None)
@given(lag=st.floats(0.0, 359.9), amplitude=st.floats(0.2, 4.0), level=st.floats(-3.0, 3.0))
def test_one_line_by_hand(lag, amplitude, level) -> None:
    # M2 alone: high water comes its phase lag after the moon's transit at Greenwich, low water half a tide later.
    found = of(tide(level, M2=(amplitude, lag)), SEASON)
    # The node moves M2 by up to 2.1 degrees, 0.07 h.
    late = found.highs.interval_h - lag / 360.0 * M2_HOURS
    assert abs((late + M2_HOURS / 2) % M2_HOURS - M2_HOURS / 2) < 0.08
    after = (found.lows.interval_h - found.highs.interval_h) % M2_HOURS
    assert after == pytest.approx(M2_HOURS / 2, abs=1e-3)
    # Node factors of M2 stay within 4% of 1.
    assert found.mean_range == pytest.approx(2.0 * amplitude, rel=0.04)
    assert found.great_range == pytest.approx(found.mean_range, rel=0.005)
    assert 0.5 * (found.highs.mean_height + found.lows.mean_height) == pytest.approx(level, abs=1e-3)
    assert found.highs.a_lunar_day == pytest.approx(2.0, abs=0.01)
    assert (found.form_number, found.tide_type, found.cycle) == (0.0, "semidiurnal", "springs-neaps")
    assert (found.highs.double_share, found.highs.stand_share) == (0.0, 0.0)


def test_ages_by_hand() -> None:
    # S2 lags M2 by 40 degrees, which gain 1.0159 degrees an hour on each other: 39.4 h; K1 and O1 1.0980 degrees.
    found = of(tide(M2=(1.0, 350.0), S2=(0.3, 30.0), K1=(0.1, 60.0), O1=(0.1, 40.0)))
    assert found.phase_age_h == pytest.approx(40.0 / 1.0158958, abs=1e-3)
    assert found.diurnal_age_h == pytest.approx(20.0 / 1.0980331, abs=1e-3)
    assert of(tide(M2=(1.0, 0.0))).phase_age_h is None
    assert of(tide(M2=(1.0, 30.0), S2=(0.3, 0.0))).phase_age_h == pytest.approx(-30.0 / 1.0158958, abs=1e-3)


def test_springs_and_neaps_by_hand() -> None:
    # The range swings between 2 (M2 + S2) and 2 (M2 - S2); a mean over three days and node factors take a little.
    found = of(tide(M2=(1.0, 0.0), S2=(0.3, 0.0)))
    assert found.spring_range == pytest.approx(2.6, rel=0.05)
    assert found.neap_range == pytest.approx(1.4, rel=0.08)
    assert [line.name for line in found.constituents] == ["M2", "S2"]
    assert found.constituents[0].share == pytest.approx(1.0 / 1.09)


def test_a_diurnal_tide_follows_the_declination() -> None:
    found = of(tide(K1=(0.3, 10.0), O1=(0.25, 350.0), M2=(0.02, 0.0), S2=(0.01, 0.0)))
    assert (found.tide_type, found.cycle) == ("diurnal", "tropic-equatorial")
    assert found.highs.interval_h is None
    assert found.highs.a_lunar_day == pytest.approx(1.0, abs=0.1)


def test_double_waters_are_counted_and_measured() -> None:
    # M4 over a quarter of M2, in phase opposition at the high water, splits it in two; the low water stays one.
    found = of(tide(M2=(1.0, 0.0), M4=(0.7, 180.0)))
    assert found.highs.double_share == pytest.approx(1.0)
    assert found.lows.double_share == 0.0
    # Peaks where cos x = 1 / (4 * 0.7): x = 69.1 degrees of M2 either side.
    apart = 2.0 * math.degrees(math.acos(1.0 / 2.8)) / 360.0 * M2_HOURS
    assert found.highs.double_apart_h == pytest.approx(apart, abs=0.1)


def test_peaks_too_near_for_a_double_water_are_counted_apart() -> None:
    # Peaks 3.9 h apart lie 1.9 h from the dip between them.
    found = of(tide(M2=(1.0, 0.0), M4=(0.45, 180.0)))
    assert (found.highs.double_share, found.highs.double_apart_h) == (0.0, None)
    assert found.highs.secondary_share > 0.99
    assert found.lows.secondary_share == 0.0


def test_stands_are_counted_and_measured() -> None:
    # A quarter of M2 in M4 makes the top flat to the fourth order, and long.
    found = of(tide(M2=(1.0, 0.0), M4=(0.25, 180.0)))
    assert found.highs.stand_share > 0.95
    assert 1.5 < found.highs.stand_h < 6.0
    assert found.lows.stand_share == 0.0


def test_a_level_without_a_tide_has_no_waters() -> None:
    found = of(tide(2.0, SA=(0.05, 0.0), M2=(0.005, 0.0)))
    assert (found.tide_type, found.highs, found.lows, found.mean_range) == ("none", None, None, None)


def test_a_model_has_the_character_of_its_epoch() -> None:
    model = TideModel.from_constituents({"M2": (1.5, 140.0), "S2": (0.5, 180.0)}, latitude=50.0, convention="utide")
    found: Any = model.character()
    assert found.spring_range == pytest.approx(model.mean_spring_range)
    assert found.form_number == model.form_number
    assert found.span.days == 6798


def test_a_typical_fortnight_is_near_the_means() -> None:
    harmonics = tide(M2=(1.5, 140.0), S2=(0.5, 180.0), N2=(0.3, 120.0), K1=(0.2, 10.0), O1=(0.1, 20.0))
    cycle = epoch_cycle(harmonics)
    # With N2 springs at perigee and at apogee take turns, and none is the mean of both.
    found: Any = typical_fortnight(harmonics, cycle)
    character: Any = tidal_character(harmonics, cycle=cycle)
    assert 5.0 < (found.neaps_us - found.springs_us) / 86_400e6 < 10.0
    large, small = cycle.daily_range_at(np.array([found.springs_us, found.neaps_us]))
    assert large == pytest.approx(character.spring_range, rel=0.06)
    assert small == pytest.approx(character.neap_range, rel=0.06)
    for at, near in ((found.spring_high_us, found.springs_us), (found.neap_high_us, found.neaps_us)):
        assert abs(at - near) < 86_400e6
        day = np.array([at - 60_000_000, at + 60_000_000]).view("datetime64[us]")
        assert list(find_extremes(harmonics, *day).kind) == ["high"]


def test_a_range_that_never_varies_has_no_fortnight() -> None:
    harmonics = tide(M2=(1.0, 0.0))
    # The node's slow swing is no cycle of springs and neaps.
    found = typical_fortnight(harmonics, epoch_cycle(harmonics))
    assert found.springs_us is None
    assert of(harmonics).neap_range is None
    assert range_cycle(harmonics, YEAR.start, YEAR.end).springs_us.size == 0
