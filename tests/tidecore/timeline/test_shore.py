"""Factors of the shore at invented marks, from tide to column; the arithmetic is tested in its own room."""

from __future__ import annotations

import pickle
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest

from tests.tidecore.offsets.tables import by_ratio, evenly
from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.intervals import calibrate
from tidecore.timebase import US_PER_MINUTE, US_PER_SECOND, TimeGrid
from tidecore.timeline import Timeline, build_timeline, find_factor
from tidecore.timeline.shore import FACTORS
from tidecore.timeline.shore_reasons import reasons
from tidecore.timeline.tide_levels import ALLOWANCE_M, upper_level

START, END = "2026-03-01", "2026-03-04"
ZERO = {"name": "top of the wall", "above_datum_m": 2.0, "uncertainty_m": 0.1, "source": "levelled"}
#: Its trough from 60 to 90 m lies 1.0 m over the zero, 3.0 m over the datum: the mean level. M2 moves 1.6 m.
PROFILE = [
    {"distance_m": 0.0, "level_m": 6.0, "bed": "clean_sand"},
    {"distance_m": 60.0, "level_m": 1.5},
    {"distance_m": 75.0, "level_m": 1.0},
    {"distance_m": 95.0, "level_m": 1.8},
    {"distance_m": 120.0, "level_m": 1.7},
    {"distance_m": 300.0, "level_m": -3.0},
]
WAY = [
    {"name": "gully", "lowest_sill_m": 1.4, "bed": "clean_sand", "length_m": 400.0},
    {"name": "path", "lowest_sill_m": 5.0, "bed": "shingle", "length_m": 100.0, "minutes": 4.0},
]
BEACH: dict[str, Any] = {"kind": "open_beach", "beds": ["clean_sand"], "ground_datum": ZERO, "profile": PROFILE}
CUT_OFF: dict[str, Any] = BEACH | {"peg": {"distance_m": 100.0}, "way_back": WAY}


def line(step: str = "10min", tide: str = "plain", **changes: Any) -> Timeline:
    return build_timeline(mark_at(**changes), model_of(tide), START, END, step)


def test_waterline_and_water_behind_follow_the_tide() -> None:
    timeline = line("1min", **BEACH)
    still = timeline.columns["height"] - 2.0
    edge = timeline.columns["waterline"]
    lower = still < 1.0
    # Seaward of the bar the ground falls 4.7 m over 180 m; landward of the trough 4.5 m over 60 m and 0.5 over 15.
    assert edge[lower] == pytest.approx(120 + (1.7 - still[lower]) / 4.7 * 180)
    high = still > 1.5
    assert edge[high] == pytest.approx((6.0 - still[high]) / 4.5 * 60)
    middle = ~lower & ~high
    assert edge[middle] == pytest.approx(60 + (1.5 - still[middle]) / 0.5 * 15)
    behind = timeline.columns["water_behind"]
    # Without a peg: from the trough's ground to the top of the bar.
    assert behind.tolist() == ((still >= 1.0) & (still < 1.8)).astype(int).tolist()
    at_peg = line("1min", **CUT_OFF).columns["water_behind"]
    assert at_peg.tolist() == (still >= 1.0).astype(int).tolist()


@pytest.mark.parametrize("offsets", [None, evenly(25, 10, by_ratio(1.1), by_ratio(0.9)).to_document()])
def test_turning_back_is_that_of_a_scan_of_every_minute(offsets: object) -> None:
    timeline = line("1min", "beating", offsets=offsets, **CUT_OFF)
    left = timeline.columns["minutes_to_turn_back"]
    # The trough behind the peg is lower than the gully. The walk: 400 m at 4 km/h and 4 min; 25 min to pack and spare.
    upper = timeline.columns["height"] - 2.0 + 0.1 + ALLOWANCE_M
    covered = upper >= 1.0 - 0.3
    starts = 1 + np.flatnonzero(~covered[:-1] & covered[1:])
    for k in range(0, len(covered) - 1500, 7):
        start = starts[starts <= k][-1] if covered[k] and (starts <= k).any() else starts[starts > k][0]
        if covered[k] and not (starts <= k).any():
            continue
        assert left[k] == pytest.approx(start - k - (6.0 + 4.0 + 25.0), abs=1.01)
    assert left.min() < -100.0
    assert left.max() > 100.0


def test_a_way_back_that_stays_dry_is_told_as_more_than_a_day() -> None:
    dry = [WAY[0] | {"lowest_sill_m": 4.0}, WAY[1]]
    left = line(**(CUT_OFF | {"way_back": dry, "peg": None})).columns["minutes_to_turn_back"]
    assert set(left.tolist()) == {1440.0}


def test_what_is_surer_gives_more_time() -> None:
    # Half tide is at the start of the flood's steepest hour: the level moves by its uncertainty in a few minutes.
    times = np.array([START], dtype="datetime64[us]")
    sure = CUT_OFF | {"ground_datum": ZERO | {"uncertainty_m": None}}
    left = [line(**mark).at(times, ["minutes_to_turn_back"])["minutes_to_turn_back"][0] for mark in (sure, CUT_OFF)]
    assert left[0] > left[1]


def test_a_record_tells_the_upper_level() -> None:
    # Noise of 0.1 m: 95 % of waters stay under the tide and 0.164 m.
    over, tide = TimeGrid.spanning("2021-03-01", "2021-09-01", "1h"), model_of("plain")
    noise = np.random.default_rng(1).normal(0.0, 0.1, over.count)
    found = calibrate(over.times_us(), tide.heights(over) + noise, tide.harmonics, kind="constant")
    timeline = build_timeline(mark_at(**CUT_OFF), replace(tide, calibration=found), START, END)
    at = np.arange(timeline.span.start_us, timeline.span.end_us, 10 * US_PER_SECOND)
    upper = upper_level(timeline.sources.tables, at)
    above = upper - timeline.sources.curve(at)
    assert above == pytest.approx(np.full(at.shape, NormalDist().inv_cdf(0.95) * 0.1), rel=0.12)
    covered = upper - 2.0 + 0.1 >= 1.0 - 0.3
    first = at[1 + np.flatnonzero(~covered[:-1] & covered[1:])[0]]
    left = timeline.at(np.array([first - 3600 * US_PER_SECOND]), ["minutes_to_turn_back"])["minutes_to_turn_back"]
    assert left == pytest.approx([60.0 - 35.0], abs=0.2)


def test_holding_goes_by_the_speed_of_the_stream() -> None:
    rates = {
        "spring_flood_m_per_s": 1.5,
        "spring_ebb_m_per_s": 1.2,
        "neap_flood_m_per_s": 0.7,
        "neap_ebb_m_per_s": 0.6,
    }
    timeline = line("1min", "beating", stream_rates=rates)
    speed, holding = np.abs(timeline.columns["stream_speed"]), timeline.columns["holding"]
    for name, where in (
        ("holds", speed <= 1.0),
        ("marginal", (speed > 1.0) & (speed <= 1.3)),
        ("does_not_hold", speed > 1.3),
    ):
        assert where.any()
        assert set(holding[where].tolist()) == {name}
    # Nothing holds: that alone decides, whatever is unknown.
    assert set(timeline.columns["fishable"][speed > 1.3].tolist()) == {"no"}
    assert set(timeline.columns["fishable"][speed <= 1.3].tolist()) == {""}


@pytest.mark.parametrize(
    ("name", "mark", "tide"),
    [
        ("waterline", BEACH, "large"),
        ("water_behind", CUT_OFF, "large"),
        ("minutes_to_turn_back", CUT_OFF, "large"),
        (
            "holding",
            {
                "stream_rates": {
                    "spring_flood_m_per_s": 1.06,
                    "spring_ebb_m_per_s": 1.4,
                    "neap_flood_m_per_s": 0.7,
                    "neap_ebb_m_per_s": 0.9,
                }
            },
            "large",
        ),
    ],
)
def test_every_jump_is_a_break(name: str, mark: dict[str, Any], tide: str) -> None:
    timeline = line("10min", tide, **mark)
    breaks = timeline.breaks_us([name])
    at = np.arange(timeline.span.start_us, timeline.span.end_us, US_PER_SECOND, dtype=np.int64)
    column = timeline.at(at, [name])[name]
    if find_factor(name).kind == "number":
        change = np.abs(np.diff(np.nan_to_num(column, nan=-9e9)))
        jumps = np.flatnonzero(change > (1.0 if name == "waterline" else 2.0))
    else:
        jumps = np.flatnonzero(column[1:] != column[:-1])
    assert jumps.size
    for k in jumps:
        assert np.abs(breaks - at[k + 1]).min() <= 1.1 * US_PER_SECOND


def test_a_value_at_an_instant_does_not_hang_on_the_span() -> None:
    names = [factor.name for factor in FACTORS]
    wide = build_timeline(mark_at(**CUT_OFF), model_of("large"), "2026-02-20", "2026-03-10")
    near = line(tide="large", **CUT_OFF)
    for name in names:
        both = wide.at(near.times, [name])[name], near.columns[name]
        if find_factor(name).kind == "number":
            np.testing.assert_allclose(both[0], both[1], atol=0.01)
        else:
            assert both[0].tolist() == both[1].tolist()
    again = pickle.loads(pickle.dumps(near))
    np.testing.assert_array_equal(again.columns["minutes_to_turn_back"], near.columns["minutes_to_turn_back"])


@pytest.mark.parametrize(
    ("changes", "unknown"),
    [
        ({}, {factor.name for factor in FACTORS}),
        (
            BEACH | {"ground_datum": ZERO | {"above_datum_m": None, "uncertainty_m": None}, "way_back": WAY},
            {"waterline", "water_behind", "run_up", "dry_margin", "minutes_to_turn_back"},
        ),
        (CUT_OFF | {"way_back": []}, {"minutes_to_turn_back"}),
        (CUT_OFF | {"way_back": [WAY[0] | {"bed": "mud"}]}, {"minutes_to_turn_back"}),
        (CUT_OFF | {"peg": None}, {"dry_margin"}),
        (CUT_OFF | {"kind": "pier_or_wall"}, {"run_up", "dry_margin"}),
        (CUT_OFF | {"ledge_height_m": 4.0}, {"run_up", "dry_margin"}),
        (CUT_OFF, {"run_up", "dry_margin", "surf", "weed", "crosswind", "holding", "fishable"}),
    ],
)
def test_what_is_not_known_stays_unknown_and_says_why(changes: dict[str, Any], unknown: set[str]) -> None:
    timeline = line(**changes)
    for name in unknown:
        assert not find_factor(name).known(timeline.columns[name]).any()
        found = reasons(timeline.sources, name)
        assert found
        assert set(found.values()) == {1.0}
        told = find_factor(name).why_unknown
        assert told is not None
        assert told(timeline.sources) == "; ".join(found)


def test_reasons_say_what_is_missing_and_for_how_long() -> None:
    timeline = line(**CUT_OFF)
    told = find_factor("waterline").why_unknown
    assert told is not None
    assert told(timeline.sources) == "it is known over the whole span"
    assert reasons(timeline.sources, "run_up") == {"the height of the sea is not known": 1.0}
    assert reasons(line().sources, "waterline") == {
        "the mark has no profile and no slope": 1.0,
        "how far the zero of the ground lies above the datum of the heights is not known": 1.0,
    }
    # The profile ends at the trough: below 1.0 m the water is off it. M2 alone is under its mean half the time.
    cut_short = line(**(BEACH | {"profile": PROFILE[:3]}))
    ((reason, share),) = reasons(cut_short.sources, "waterline").items()
    assert "off the profile" in reason
    assert share == pytest.approx(0.5, abs=0.03)
    said = find_factor("waterline").why_unknown
    assert said is not None
    assert said(cut_short.sources) == f"{reason} ({share:.0%} of the span)"


def test_longest_times_left_are_corners_too() -> None:
    timeline = line(tide="cancelling", **(CUT_OFF | {"way_back": [WAY[0] | {"lowest_sill_m": 2.1}], "peg": None}))
    at = np.arange(timeline.span.start_us, timeline.span.end_us, US_PER_MINUTE, dtype=np.int64)
    left = timeline.at(at, ["minutes_to_turn_back"])["minutes_to_turn_back"]
    corners = at[1:-1][np.abs(np.diff(left, 2)) > 0.5]
    breaks = timeline.breaks_us(["minutes_to_turn_back"])
    assert all(np.abs(breaks - one).min() <= 61 * US_PER_SECOND for one in corners)
