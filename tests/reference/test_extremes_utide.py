"""High and low waters against heights by utide's own basis functions (utide 0.4, the MIT port of Codiga 2011)."""

from __future__ import annotations

import numpy as np
import pytest

from tidecore.extremes import find_extremes
from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY

# Invented stations: an ordinary one, and one where M4 is over a quarter of M2 so that low water is double at springs.
ORDINARY = {
    "M2": (1.9, 205.0), "S2": (0.65, 251.0), "N2": (0.36, 187.0), "K2": (0.19, 248.0), "K1": (0.09, 80.0),
    "O1": (0.07, 330.0), "M4": (0.11, 130.0), "MS4": (0.07, 185.0), "SA": (0.06, 210.0),
}  # fmt: skip
DOUBLE_LOW = {
    "M2": (0.9, 40.0), "S2": (0.3, 85.0), "N2": (0.17, 20.0), "K1": (0.07, 110.0), "O1": (0.06, 350.0),
    "M4": (0.26, 82.0), "MS4": (0.15, 128.0), "M6": (0.09, 300.0), "2MS6": (0.08, 340.0), "M8": (0.02, 100.0),
}  # fmt: skip
START, DAYS = np.datetime64("2031-08-03", "us"), 45


def by_utide(model: Harmonics, times_us: np.ndarray) -> np.ndarray:
    from utide._ut_constants import constit_index_dict
    from utide.harmonics import ut_E

    index = [constit_index_dict[name] for name in model.names]
    days = times_us / US_PER_DAY + 719163.0
    basis = ut_E(days, 0.0, np.zeros(len(index)), index, model.latitude, [False] * 4, [])
    heights: np.ndarray = (basis @ (model.amplitude * np.exp(-1j * np.radians(model.phase)))).real
    return heights


@pytest.mark.parametrize("station", [ORDINARY, DOUBLE_LOW], ids=["ordinary", "double low"])
def test_none_missing_none_extra_and_each_in_its_second(station: dict[str, tuple[float, float]]) -> None:
    model = Harmonics.from_mapping(station, 51.0, 0.0, "utide")
    events = find_extremes(model, START, START + np.timedelta64(DAYS, "D"))
    minutes = START.astype(np.int64) + 60_000_000 * np.arange(DAYS * 1440)
    heights = np.concatenate([by_utide(model, part) for part in np.array_split(minutes, 5)])
    steps = np.diff(heights) > 0
    turns = 1 + np.flatnonzero(steps[1:] != steps[:-1])
    assert len(events) == turns.size
    assert np.all(np.abs(events.times_us() - minutes[turns]) <= 60_000_000)
    assert np.array_equal(events.kind == "high", steps[turns - 1])

    # One second before and after each event utide's curve lies on the far side of the turn: the slopes differ in sign.
    # Slopes are taken over 20 s, where the difference is 3e-8 m or more and utide's rounding 1e-9 m.
    for side, sign in ((-1_000_000, 1.0), (1_000_000, -1.0)):
        at = events.times_us() + side
        rise = by_utide(model, at + 10_000_000) - by_utide(model, at - 10_000_000)
        rising = np.where(events.kind == "high", sign, -sign)
        sharp = np.abs(events.curvature) > 0.02
        assert np.all((rising * rise)[sharp] > 0.0)
        assert np.count_nonzero(~sharp) < 0.02 * len(events)
    np.testing.assert_allclose(events.height, by_utide(model, events.times_us()), atol=1e-6)


def test_double_low_water_has_its_secondary_extremes() -> None:
    model = Harmonics.from_mapping(DOUBLE_LOW, 51.0, 0.0, "utide")
    events = find_extremes(model, START, START + np.timedelta64(DAYS, "D"))
    assert np.count_nonzero(~events.primary) > 20
    primaries = events.primaries()
    assert np.all(primaries.kind[1:] != primaries.kind[:-1])
    assert np.all(np.diff(primaries.highs().tide_id) == 1)


def test_mean_tidal_period_and_the_rule_of_twelfths() -> None:
    # 12 h 25 min 14 s and 1-2-3-3-2-1 to 1.7% of range: common practice
    model = Harmonics.from_mapping(ORDINARY, 51.0, 0.0, "utide")
    highs = find_extremes(model, np.datetime64("2001-01-01"), np.datetime64("2019-08-13")).primaries().highs()
    period_s = (highs.times_us()[-1] - highs.times_us()[0]) / 1e6 / (len(highs) - 1)
    assert period_s == pytest.approx(12 * 3600 + 25 * 60 + 14, abs=1.0)

    pure = Harmonics.from_mapping({"M2": (2.0, 0.0)}, 51.0, 0.0, "utide")
    events = find_extremes(pure, START, START + np.timedelta64(3, "D"))
    low = int(np.flatnonzero(events.kind == "low")[0])
    begin, end = events.times_us()[low : low + 2]
    sixths = (begin + (end - begin) * np.arange(7) / 6.0).astype(np.int64)
    low_water, high_water = events.height[low : low + 2]
    risen = (pure.heights(sixths.view("datetime64[us]")) - low_water) / (high_water - low_water)
    errors = np.abs(risen - np.array([0, 1, 3, 6, 9, 11, 12]) / 12)
    assert errors.max() <= 0.017
    assert errors.max() > 0.016
