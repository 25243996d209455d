"""Intervals of records whose noise is known: normal quantiles from its own distribution, not from the code."""

from __future__ import annotations

import json
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tidecore
from tests.tidecore.model.test_fit import record, truth
from tidecore.errors import InvalidInput, ModelUnreadable
from tidecore.extremes import Extremes
from tidecore.harmonics import Harmonics
from tidecore.harmonics.engine import solve
from tidecore.intervals import Calibration, calibrate, extreme_bounds, height_bounds, interval_score
from tidecore.intervals.answers import required
from tidecore.intervals.features import KINDS, features_of
from tidecore.intervals.folds import leave_out
from tidecore.timebase import TimeGrid

SIGMA = 0.1
Z90 = NormalDist().inv_cdf(0.95)


def grid(days: float, step: str = "1h", start: str = "2021-03-01") -> TimeGrid:
    begin = np.datetime64(start, "us")
    return TimeGrid.spanning(begin, begin + np.timedelta64(round(days * 86400), "s"), step)


def calibrated(noise: np.ndarray, over: TimeGrid, kind: str | None = None) -> Calibration:
    tide = truth()
    found = calibrate(over.times_us(), tide.heights(over) + noise, tide, kind=kind)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def white() -> Calibration:
    over = grid(200)
    return calibrated(np.random.default_rng(1).normal(0.0, SIGMA, over.count), over)


@pytest.fixture(scope="module")
def fitted() -> tidecore.TideModel:
    over = grid(60)
    levels = truth().heights(over) + np.random.default_rng(2).normal(0.0, SIGMA, over.count)
    return tidecore.fit(record(levels, over.times(), latitude=50.0), constituents=list(truth().names))


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9, 0.95])
def test_normal_noise_has_normal_quantiles(white, level) -> None:
    bounds = height_bounds(white, truth(), grid(20, start="2024-01-01").times(), level)
    half = NormalDist().inv_cdf(0.5 + level / 2) * SIGMA
    heights = truth().heights(grid(20, start="2024-01-01"))
    # The quantiles of 4,800 values, and what is added because only 57 of them count as independent.
    assert np.mean(bounds.upper - heights) == pytest.approx(half, rel=0.12)
    assert np.mean(heights - bounds.lower) == pytest.approx(half, rel=0.12)
    assert white.residual_sd_m == pytest.approx(SIGMA, rel=0.03)


def test_a_calm_season_has_a_narrow_interval() -> None:
    over = grid(3 * 365.25)
    turn = 2 * np.pi * over.times_us() / (365.2425 * 86400e6)
    scale = SIGMA * np.exp(0.7 * np.cos(turn))
    found = calibrated(np.random.default_rng(3).normal(0.0, 1.0, over.count) * scale, over)
    assert found.kind in KINDS[2:]
    assert found.score_ratio < 0.95
    for start, expected in (("2030-01-01", np.exp(0.7)), ("2030-07-02", np.exp(-0.7))):
        bounds = height_bounds(found, truth(), grid(2, start=start).times(), 0.9)
        assert np.mean(bounds.upper - bounds.lower) / 2 == pytest.approx(Z90 * SIGMA * expected, rel=0.12)


def test_a_season_that_the_record_lacks_is_not_made_up() -> None:
    over = grid(270)
    turn = 2 * np.pi * over.times_us() / (365.2425 * 86400e6)
    noise = np.random.default_rng(4).normal(0.0, 1.0, over.count) * SIGMA * np.exp(0.7 * np.cos(turn))
    assert calibrated(noise, over).kind in KINDS[:2]


def test_a_season_of_surges_alone_widens_the_interval_upwards_alone() -> None:
    over = grid(3 * 365.25)
    turn = 2 * np.pi * over.times_us() / (365.2425 * 86400e6)
    noise = np.random.default_rng(9).normal(0.0, SIGMA, over.count)
    found = calibrated(np.where(noise > 0.0, noise * np.exp(0.7 * np.cos(turn)), noise), over, kind="season")
    upper, lower = [], []
    for start in ("2030-01-01", "2030-07-02"):
        at = grid(2, start=start)
        bounds = height_bounds(found, truth(), at.times(), 0.9)
        upper.append(float(np.mean(bounds.upper - truth().heights(at))))
        lower.append(float(np.mean(truth().heights(at) - bounds.lower)))
    assert upper[0] / upper[1] == pytest.approx(np.exp(1.4), rel=0.12)
    assert lower[0] / lower[1] == pytest.approx(1.0, rel=0.12)


def test_what_a_spread_may_depend_on_is_centred_and_bounded() -> None:
    year, size = 365.2425 * 86_400e6, (1.5, 0.8)
    times = (np.arange(9) * year / 8.0).astype(np.int64)
    above, rates = np.array([0.0, 1.5, -1.5, 9.0, -9.0, 0, 0, 0, 0]), np.array([0.0, 0.8, -0.8, 9.0, -9.0, 0, 0, 0, 0])
    columns = {kind: features_of(kind, times, above, rates, size) for kind in KINDS}
    assert {kind: one.shape[1] for kind, one in columns.items()} == dict(zip(KINDS, (1, 3, 3, 5, 7), strict=True))
    for one in columns.values():
        assert np.all(one[:, 0] == 1.0)
    eighths = 2.0 * np.pi * np.arange(9) / 8.0
    for kind in KINDS[2:]:
        np.testing.assert_allclose(columns[kind][:, 1:3], np.stack((np.cos(eighths), np.sin(eighths)), 1), atol=1e-6)
    halves = np.stack((np.cos(2.0 * eighths), np.sin(2.0 * eighths)), 1)
    np.testing.assert_allclose(columns[KINDS[4]][:, 3:5], halves, atol=1e-6)
    # Height and rate in sizes of the tide, at most two; the rate of a plain tide is centred.
    for kind in (KINDS[1], KINDS[3], KINDS[4]):
        rate, height = columns[kind][:5, -2:].T
        assert height.tolist() == [0.0, 1.0, -1.0, 2.0, -2.0]
        assert (rate + 2.0 / np.pi).tolist() == pytest.approx([0.0, 1.0, 1.0, 2.0, 2.0])
    cycle = 0.8 * np.cos(np.linspace(0.0, 2.0 * np.pi, 10_001)[:-1])
    still = np.zeros(cycle.size)
    assert features_of("tide", still.astype(np.int64), still, cycle, size)[:, 1].mean() == pytest.approx(0.0, abs=1e-6)


def test_skewed_noise_has_a_skewed_interval() -> None:
    over = grid(200)
    noise = np.random.default_rng(5).exponential(SIGMA, over.count) - SIGMA
    found = calibrated(noise, over, kind="constant")
    heights = truth().heights(over)
    bounds = height_bounds(found, truth(), over.times(), 0.9)
    # Quantiles of the exponential distribution: -ln(1 - p) less its mean.
    assert np.mean(bounds.upper - heights) == pytest.approx((-np.log(0.05) - 1) * SIGMA, rel=0.1)
    assert np.mean(heights - bounds.lower) == pytest.approx((1 + np.log(0.95)) * SIGMA, rel=0.1)


def test_the_rule_of_the_interval_score() -> None:
    # Gneiting and Raftery (2007), equation 43: the width, and 2/alpha times the miss; by hand for 0.9.
    lower, upper = np.zeros(3), np.ones(3)
    assert interval_score(lower, upper, np.array([0.5, 1.2, -0.1]), 0.9).tolist() == pytest.approx([1.0, 5.0, 3.0])


def test_times_of_high_waters_follow_the_noise() -> None:
    over = grid(60, "6min")
    found = calibrated(np.random.default_rng(6).normal(0.0, SIGMA, over.count), over)
    tide = truth()
    extremes = tidecore.TideModel.made_of(tide, "", "unknown", None, "").extremes("2023-01-01", "2023-01-29")
    bounds = extreme_bounds(found, tide, extremes, 0.9)
    told = ~np.isnat(bounds.time_lower)
    assert told.sum() > 90
    minutes = (bounds.time_upper - bounds.time_lower)[told] / np.timedelta64(1, "m")
    # A cubic a + bt + ct^2 + dt^3 through 41 values turns at -b / 2c; b by ordinary least squares has the variance
    # s^2 / (sum t^2 - (sum t^4)^2 / sum t^6), and 2c is the curvature.
    hours = np.arange(-20, 21) * 0.1
    curvature = np.abs(extremes.curvature[told])
    squares, fourths, sixths = (float(np.sum(hours**power)) for power in (2, 4, 6))
    sd = 60 * SIGMA / np.sqrt(squares - fourths**2 / sixths)
    assert np.median(minutes * curvature) == pytest.approx(2 * Z90 * sd, rel=0.25)
    # Blunt extremes are less sure than sharp ones.
    assert np.corrcoef(np.log(curvature), np.log(minutes))[0, 1] < -0.5


def test_at_a_stand_the_span_of_the_stand_is_given(fitted) -> None:
    stands = Harmonics(("M2", "M4"), np.array([1.0, 0.22]), np.array([0.0, 180.0]), 50.0, 0.0)
    extremes = tidecore.TideModel.made_of(stands, "", "unknown", None, "").extremes("2023-01-01", "2023-01-05")
    stood = ~np.isnat(extremes.stand_start)
    assert stood.any()
    bounds = extreme_bounds(fitted.calibration, stands, extremes, 0.9)
    assert np.array_equal(bounds.stand, stood)
    assert np.array_equal(bounds.time_lower[stood], extremes.stand_start[stood])
    assert np.array_equal(bounds.time_upper[stood], extremes.stand_end[stood])


def test_a_tide_lost_in_the_weather_has_no_time(fitted) -> None:
    faint = Harmonics(("M2",), np.array([0.1]), np.array([0.0]), 50.0, 0.0)  # range 0.2 m, three sds are 0.3 m
    extremes = tidecore.TideModel.made_of(faint, "", "unknown", None, "").extremes("2023-01-01", "2023-01-05")
    bounds = extreme_bounds(fitted.calibration, faint, extremes, 0.9)
    assert np.isnat(bounds.time_lower).all()
    assert np.isfinite(bounds.height_lower).all()


@settings(max_examples=25, deadline=None)
@given(levels=st.lists(st.floats(0.01, 0.99), min_size=2, max_size=2, unique=True).map(sorted))
def test_a_surer_interval_holds_a_less_sure_one(white, levels) -> None:
    at = grid(3).times()
    narrow, wide = (height_bounds(white, truth(), at, level) for level in levels)
    assert np.all(wide.lower <= narrow.lower)
    assert np.all(wide.upper >= narrow.upper)


def test_a_sure_surge_takes_the_weather_out() -> None:
    over = grid(200)
    rng = np.random.default_rng(7)
    # Weather that lasts for three days on top of what is left of hourly values.
    weather = np.repeat(rng.normal(0.0, 0.2, over.count // 72 + 1), 72)[: over.count]
    found = calibrated(weather + rng.normal(0.0, 0.03, over.count), over)
    at = grid(5).times()
    plain = height_bounds(found, truth(), at, 0.9)
    sure, doubtful = (height_bounds(found, truth(), at, 0.9, surge_sd=sd) for sd in (0.0, 0.2))
    width = {name: float(np.mean(b.upper - b.lower)) for name, b in (("p", plain), ("s", sure), ("d", doubtful))}
    assert width["s"] < 0.6 * width["p"]
    assert width["d"] >= 2 * Z90 * 0.2
    with pytest.raises(InvalidInput, match="surge_sd_m"):
        height_bounds(found, truth(), at, 0.9, surge_sd=-0.1)


@pytest.mark.parametrize("level", [0.0, -0.1, 1.0, 1.5, 0.995, float("nan")])
def test_a_level_that_is_none(fitted, level) -> None:
    with pytest.raises(InvalidInput, match="level"):
        fitted.height_intervals(grid(1), level)
    with pytest.raises(InvalidInput, match="level"):
        fitted.extreme_intervals(fitted.extremes("2023-01-01", "2023-01-03"), level)


def test_the_widest_interval_is_of_ninety_nine_in_a_hundred(fitted) -> None:
    assert fitted.height_intervals(grid(1), 0.99).level == 0.99


def test_a_model_without_a_record_says_so() -> None:
    model = tidecore.TideModel.from_constituents({"M2": (1.0, 0.0)}, latitude=50.0, convention="utide")
    with pytest.raises(InvalidInput, match="no interval: the model has no record"):
        model.height_intervals(grid(1))
    with pytest.raises(InvalidInput, match="no interval: the model has no record"):
        model.extreme_intervals(model.extremes("2023-01-01", "2023-01-03"))


@pytest.mark.parametrize(("days", "told"), [(26, False), (27, True)])
def test_a_short_record_tells_nothing_of_what_it_did_not_see(days, told) -> None:
    over = grid(days)
    found = calibrate(over.times_us(), truth().heights(over), truth())
    assert (found is not None) is told
    if not told:
        with pytest.raises(InvalidInput, match="expected a model fitted to a record of 27 days or more"):
            required(found)


def test_a_record_without_noise_is_taken() -> None:
    over = grid(60)
    found = calibrated(np.zeros(over.count), over)
    assert found.residual_sd_m < 1e-3


def test_calibrations_survive_documents_and_old_documents_have_none(fitted) -> None:
    document = json.loads(json.dumps(fitted.to_document(), allow_nan=False))
    again = tidecore.TideModel.from_document(document)
    at = grid(2)
    for one, other in ((fitted.height_intervals(at), again.height_intervals(at)),):
        assert np.array_equal(one.lower, other.lower)
        assert np.array_equal(one.upper, other.upper)
    waters = fitted.extremes("2023-01-01", "2023-01-08")
    mine, theirs = (model.extreme_intervals(waters) for model in (fitted, again))
    assert not np.isnat(mine.time_lower).all()
    for name in ("height_lower", "height_upper", "time_lower", "time_upper", "stand"):
        np.testing.assert_array_equal(getattr(mine, name), getattr(theirs, name))
    del document["calibration"]
    assert tidecore.TideModel.from_document(document).calibration is None


@pytest.mark.parametrize(
    "spoil",
    [
        lambda c: c.pop("spread"),
        lambda c: c.update(depends_on="the moon"),
        lambda c: c.update(probabilities=[0.5]),
        lambda c: c["heights"].reverse(),
        lambda c: c["lows"].pop(),
        lambda c: c["highs"].__setitem__(3, float("nan")),
        lambda c: c.update(times={}),
        lambda c: c["spread"].update(above=[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]),
    ],
)
def test_a_damaged_calibration_is_said_to_be_one(fitted, spoil) -> None:
    document = fitted.to_document()
    spoil(document["calibration"])
    with pytest.raises(ModelUnreadable):
        tidecore.TideModel.from_document(document)


def test_a_record_in_pieces_years_apart_is_cut_like_a_whole_one() -> None:
    tide, rng = truth(), np.random.default_rng(8)
    pieces = [grid(60, start=start).times_us() for start in ("1990-01-01", "2020-01-01")]
    times = np.concatenate(pieces)
    levels = tide.heights(times.view("datetime64[us]")) + rng.normal(0.0, SIGMA, len(times))
    found = calibrate(times, levels, tide)
    assert found is not None
    assert found.days == 120.0
    assert found.residual_sd_m == pytest.approx(SIGMA, rel=0.1)


def widths(found: Calibration, extremes: Extremes) -> tuple[float, float]:
    """Median half widths of the heights of high and of low waters, at 90 %."""
    bounds = extreme_bounds(found, truth(), extremes, 0.9)
    half, high = (bounds.height_upper - bounds.height_lower) / 2.0, extremes.kind == "high"
    return float(np.median(half[high])), float(np.median(half[~high]))


def test_heights_of_waters_are_as_sure_as_the_cubic_that_shows_them(white) -> None:
    # The variance of a cubic at its middle, through the hourly values of two hours on either side, wherever they lie.
    variances = []
    for first in np.linspace(-2.0, -1.0, 50, endpoint=False):
        middle = np.linalg.pinv(np.vander(np.arange(first, 2.0 + 1e-9), 4, increasing=True))[0]
        variances.append(float((middle**2).sum()))
    assert variances[0] == pytest.approx(34.0 / 70.0)  # by hand, of five values
    extremes = tidecore.TideModel.made_of(truth(), "", "unknown", None, "").extremes("2023-01-01", "2023-03-01")
    expected = Z90 * SIGMA * np.sqrt(np.mean(variances))
    for half in widths(white, extremes):
        assert half == pytest.approx(expected, rel=0.15)


def test_high_and_low_waters_have_intervals_of_their_own() -> None:
    over = grid(200)
    tide = truth().heights(over)
    loud = np.where(tide > truth().mean_level, 0.2, 0.02)
    found = calibrated(np.random.default_rng(10).normal(0.0, 1.0, over.count) * loud, over, kind="constant")
    extremes = tidecore.TideModel.made_of(truth(), "", "unknown", None, "").extremes("2023-01-01", "2023-03-01")
    high, low = widths(found, extremes)
    assert high > 3.0 * low


def test_an_interval_goes_with_the_height_of_the_tide() -> None:
    over, tide = grid(2 * 365), truth()
    size = np.sqrt((tide.amplitude**2).sum())
    above = np.clip((tide.heights(over) - tide.mean_level) / size, -2.0, 2.0)
    noise = np.random.default_rng(11).normal(0.0, 1.0, over.count) * SIGMA * np.exp(0.4 * above)
    found = calibrated(noise, over, kind="tide")
    at = grid(10, start="2030-01-01")
    bounds = height_bounds(found, tide, at.times(), 0.9)
    half = (bounds.upper - bounds.lower) / 2.0
    scaled = np.log(half / (Z90 * SIGMA)) / 0.4
    wanted = np.clip((tide.heights(at) - tide.mean_level) / size, -2.0, 2.0)
    slope, base = np.polyfit(wanted, scaled, 1)
    assert slope == pytest.approx(1.0, abs=0.15)
    assert base == pytest.approx(0.0, abs=0.3)


def test_each_part_of_a_record_is_predicted_by_the_fit_of_the_others() -> None:
    over, tide = grid(60), truth()
    levels = tide.heights(over) + np.random.default_rng(12).normal(0.0, SIGMA, over.count)
    times = over.times_us()
    folds = leave_out(times, levels, tide)
    assert [fold.times_us.size for fold in folds] == [over.count // 4] * 4
    np.testing.assert_array_equal(np.concatenate([fold.times_us for fold in folds]), times)
    for fold in folds:
        others = ~np.isin(times, fold.times_us)
        expected = solve(times[others], levels[others], tide.latitude, tide.names).harmonics
        mine, theirs = (
            dict(zip(one.names, one.amplitude * np.exp(1j * np.radians(one.phase)), strict=True))
            for one in (fold.harmonics, expected)
        )
        for name, value in theirs.items():
            assert mine[name] == pytest.approx(value, abs=2e-4), name
        assert fold.harmonics.mean_level == pytest.approx(expected.mean_level, abs=2e-4)
        heights = fold.harmonics.heights(fold.times_us.view("datetime64[us]"))
        np.testing.assert_allclose(fold.residual, fold.levels - heights, atol=1e-9)
