"""Factors of the shore that need the sea, the wind or what was seen, at invented marks under invented conditions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.conditions.issues import START, issue, observed
from tests.tidecore.timeline.places import mark_at, model_of
from tests.tidecore.timeline.test_shore import BEACH, CUT_OFF, ZERO
from tidecore.conditions import ConditionIssue, Conditions
from tidecore.shore import Waves, dry_margin, largest_over_r2, poate, stockdon
from tidecore.timebase import US_PER_HOUR, US_PER_SECOND
from tidecore.timeline import Timeline, build_timeline, find_factor
from tidecore.timeline.shore_reasons import reasons

SEA: dict[str, Any] = {"wave_height_m": [1.0, 1.0], "wave_period_s": [9.0, 9.0], "wave_period_kind": "peak"}
RATES = {
    "spring_flood_m_per_s": 0.5,
    "spring_ebb_m_per_s": 0.5,
    "neap_flood_m_per_s": 0.3,
    "neap_ebb_m_per_s": 0.3,
}
SLOPE: dict[str, Any] = {
    "kind": "open_beach",
    "beds": ["clean_sand"],
    "ground_datum": ZERO,
    "beach_slope": 0.05,
    "facing_degree": 270.0,
}


def hourly(**given: Any) -> ConditionIssue:
    """An issue over three days, each variable straight from its first value to its last."""
    hours = np.arange(73.0)
    made = {
        name: np.interp(hours, np.linspace(0.0, 72.0, len(ends)), ends).tolist() if isinstance(ends, list) else ends
        for name, ends in given.items()
    }
    return issue(hours.tolist(), **made)


def line(mark: dict[str, Any], *issues: ConditionIssue, step: str = "10min") -> Timeline:
    conditions = Conditions.of(issues) if issues else None
    end = START + np.timedelta64(3, "D")
    return build_timeline(mark_at(**mark), model_of("plain"), START, end, step, conditions=conditions)


@pytest.mark.parametrize("place", ["offshore", "at_mark"])
def test_run_up_is_that_of_the_formula_on_a_plane(place: str) -> None:
    timeline = line(SLOPE, hourly(**SEA, waves_at=place))
    assert timeline.columns["run_up"] == pytest.approx(np.full(432, float(stockdon(1.0, 9.0, 0.05))))
    shingle = line(SLOPE | {"beds": ["shingle"]}, hourly(**SEA, waves_at=place))
    expected = float(poate(1.0, 0.05, 9.0 / 1.1, 9.0 / 1.28))
    assert shingle.columns["run_up"] == pytest.approx(np.full(432, expected))
    # A plane has no peg; its edge counts from the zero of the ground.
    assert np.isnan(timeline.columns["dry_margin"]).all()
    assert timeline.columns["waterline"] == pytest.approx(-(timeline.columns["height"] - 2.0) / 0.05)


def test_the_dry_margin_is_that_of_the_largest_of_a_thousand_waves() -> None:
    timeline = line(BEACH | {"peg": {"distance_m": 30.0}}, hourly(**SEA, waves_at="at_mark"))
    ground = timeline.sources.setting.ground
    assert ground is not None
    sea = Waves.of(np.full(432, 1.0), 9.0)
    largest = float(largest_over_r2(1000))
    alone = dry_margin(ground, 30.0, timeline.columns["height"] - 2.0, sea, largest)
    np.testing.assert_array_equal(timeline.columns["dry_margin"], alone.vertical)
    np.testing.assert_array_equal(timeline.columns["run_up"], alone.run_up.r2)
    known = ~np.isnan(alone.vertical)
    assert known.any()
    wetted = timeline.columns["height"] - 2.0 + largest * timeline.columns["run_up"]
    # 30 m out the ground is at 3.75 m; one slope of 0.075 reaches from 1.5 m up.
    high = known & (timeline.columns["height"] - 2.0 - 0.5 * timeline.columns["run_up"] > 1.5)
    assert timeline.columns["dry_margin"][high] == pytest.approx((3.75 - wetted)[high], abs=0.03)


@pytest.mark.parametrize(
    ("mark", "given", "why"),
    [
        (SLOPE, {"wave_height_m": [1.0, 1.0]}, "the period of the sea is not known"),
        (SLOPE | {"kind": "estuary"}, {}, "whether the sea comes to the mark is not known"),
        (SLOPE | {"exposure": {"from_degree": 200.0, "to_degree": 300.0}}, {}, "whether the sea comes to the mark"),
        (
            SLOPE | {"exposure": {"from_degree": 200.0, "to_degree": 300.0}},
            {"wave_from_degree": [10.0, 10.0]},
            "from outside the exposure",
        ),
        (SLOPE | {"beds": ["mussel"]}, {}, "bed"),
        (SLOPE | {"kind": "rock_ledge"}, {}, "rock ledge"),
        (SLOPE | {"beach_slope": 0.3}, {}, "slope"),
    ],
)
def test_a_run_up_that_cannot_be_told_is_unknown_and_says_why(
    mark: dict[str, Any], given: dict[str, Any], why: str
) -> None:
    sea = given if "wave_height_m" in given else SEA | given
    timeline = line(mark, hourly(**sea))
    assert np.isnan(timeline.columns["run_up"]).all()
    ((reason, share),) = reasons(timeline.sources, "run_up").items()
    assert why in reason
    assert share == 1.0


def test_a_sea_from_the_exposure_or_told_at_the_mark_reaches_it() -> None:
    exposed = SLOPE | {"exposure": {"from_degree": 300.0, "to_degree": 20.0}}
    for given in ({"wave_from_degree": [10.0, 10.0]}, {"wave_from_degree": [90.0, 90.0], "waves_at": "at_mark"}):
        assert not np.isnan(line(exposed, hourly(**(SEA | given))).columns["run_up"]).any()


def test_a_high_sea_from_outside_the_exposure_leaves_the_lee_fishable() -> None:
    rough = {"wave_height_m": [3.0, 3.0]}
    open_, lee = SLOPE, SLOPE | {"exposure": {"from_degree": 300.0, "to_degree": 20.0}}
    assert set(line(open_, hourly(**rough)).columns["surf"].tolist()) == {"unfishable"}
    assert set(line(lee, hourly(**rough)).columns["surf"].tolist()) == {""}
    for whence, expected in ((90.0, "fishable"), (0.0, "unfishable")):
        given = rough | {"wave_from_degree": [whence, whence]}
        assert set(line(lee, hourly(**given)).columns["surf"].tolist()) == {expected}


def test_fishable_is_as_bad_as_its_worst_part() -> None:
    mark = SLOPE | {"stream_rates": RATES}
    calm = {
        "wave_height_m": [0.5, 0.5],
        "wind_speed_m_per_s": [5.0, 5.0],
        "wind_from_degree": [270.0, 270.0],
    }
    clean = observed(list(range(0, 73, 6)), weed=["none"] * 13)
    weedy = observed(list(range(0, 73, 6)), weed=["every_cast"] * 13)
    cases = [
        ((hourly(**calm), clean), "yes"),
        ((hourly(**(calm | {"wind_speed_m_per_s": [11.0, 11.0]})), clean), "hard"),
        ((hourly(**(calm | {"wind_speed_m_per_s": [11.0, 11.0], "wind_from_degree": [90.0, 90.0]})), clean), "yes"),
        ((hourly(**calm), weedy), "hard"),
        ((hourly(**(calm | {"wave_height_m": [2.5, 2.5]})), clean), "no"),
        ((hourly(**(calm | {"wave_height_m": [2.5, 2.5]})),), "no"),
        ((hourly(**calm),), ""),
    ]
    for issues, expected in cases:
        assert set(line(mark, *issues).columns["fishable"].tolist()) == {expected}
    assert reasons(line(mark, hourly(**calm)).sources, "fishable") == {"weed is not known": 1.0}
    assert set(line(mark, hourly(**calm), clean).columns["weed"].tolist()) == {"none"}
    assert set(line(SLOPE, hourly(**calm), clean).columns["fishable"].tolist()) == {""}


def test_what_hinders_a_cast_goes_by_where_the_mark_faces() -> None:
    wind = {"wind_speed_m_per_s": [8.0, 8.0], "wind_from_degree": [120.0, 120.0]}
    # Off the shore, 30 degrees from straight behind.
    assert line(SLOPE, hourly(**wind)).columns["crosswind"] == pytest.approx(np.full(432, 4.0))
    blind = line(SLOPE | {"facing_degree": None}, hourly(**wind))
    assert np.isnan(blind.columns["crosswind"]).all()
    assert "which way" in next(iter(reasons(blind.sources, "crosswind")))


@pytest.mark.parametrize("name", ["surf", "fishable", "weed", "run_up"])
def test_every_jump_is_a_break(name: str) -> None:
    # The sea passes 2 m twice; the wind peaks over 10 m/s for some minutes; weed is seen at times.
    given = {
        "wave_height_m": [1.2, 2.6, 1.0],
        "wave_period_s": [9.0, 9.0],
        "wave_period_kind": "peak",
        "wind_speed_m_per_s": [6.0, 10.01, 6.0],
        "wind_from_degree": [270.0, 270.0],
    }
    seen = observed([2.0, 5.0, 40.0], weed=["none", "every_cast", "odd_strand"])
    # The high sea comes round out of the exposure and back into it.
    given["wave_from_degree"] = [250.0, 310.0, 260.0]
    sector = {"from_degree": 200.0, "to_degree": 305.0}
    timeline = line(SLOPE | {"stream_rates": RATES, "exposure": sector}, hourly(**given), seen, step="1h")
    breaks = timeline.breaks_us([name])
    at = np.arange(timeline.span.start_us, timeline.span.end_us, US_PER_SECOND, dtype=np.int64)
    column = timeline.at(at, [name])[name]
    # Of a run-up where it begins and ceases to be known.
    told = find_factor(name).known(column) if name == "run_up" else column
    jumps = np.flatnonzero(told[1:] != told[:-1])
    assert jumps.size >= 2
    for k in jumps:
        assert np.abs(breaks - at[k + 1]).min() <= 1.1 * US_PER_SECOND


def test_an_answer_names_the_forecast_that_it_rests_on() -> None:
    told = line(SLOPE, hourly(**SEA, waves_at="at_mark"))
    assert "Stockdon" in told.provenance("run_up")
    assert "Invented Met" in told.provenance("run_up")
    assert "Invented Met" in told.provenance("fishable")
    assert told.provenance("crosswind").endswith("none in this span")
    assert line(SLOPE).provenance("surf").endswith("not given")
    assert "conditions" not in told.provenance("waterline")


def test_nothing_is_known_beyond_the_end_of_a_forecast() -> None:
    short = issue(
        [0.0, 1.0, 2.0], wave_height_m=[1.0] * 3, wave_period_s=[9.0] * 3, wave_period_kind="peak", waves_at="at_mark"
    )
    timeline = line(CUT_OFF, short)
    after = timeline.times > START + np.timedelta64(2 * US_PER_HOUR, "us")
    for name in ("run_up", "dry_margin", "surf"):
        assert not find_factor(name).known(timeline.columns[name][after]).any()
    assert set(timeline.columns["surf"][~after].tolist()) == {"fishable"}
    told = find_factor("surf").why_unknown
    assert told is not None
    assert told(timeline.sources) == "the height of the sea is not known (97% of the span)"
