from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.timeline.places import TIDES, mark_at, mark_without_lags, model_of
from tidecore.errors import InvalidInput, InvalidSpan, OutsideEphemeris, UnknownName
from tidecore.sky import sky_positions
from tidecore.timeline import KEY_KINDS, Timeline, build_timeline, factors
from tidecore.timeline.shore import FACTORS as SHORE
from tidecore.timeline.sources import tide_tables

START, END = np.datetime64("2026-03-20", "us"), np.datetime64("2026-04-03", "us")
DAY_US = 86_400_000_000


@pytest.fixture(scope="module")
def timeline() -> Timeline:
    return build_timeline(mark_at(), model_of("large"), START, END)


def same(left: np.ndarray[Any, Any], right: np.ndarray[Any, Any]) -> None:
    np.testing.assert_array_equal(left, right)
    assert left.dtype == right.dtype


def test_the_axis_is_anchored_to_whole_steps() -> None:
    odd = build_timeline(mark_at(), model_of("plain"), "2026-03-20T00:03", "2026-03-20T01:00")
    wanted = np.arange(np.datetime64("2026-03-20T00:10"), np.datetime64("2026-03-20T01:00"), np.timedelta64(10, "m"))
    np.testing.assert_array_equal(odd.times, wanted.astype("datetime64[us]"))


def test_there_is_a_column_for_every_factor(timeline: Timeline) -> None:
    assert list(timeline.columns) == list(factors())
    kinds = {"number": "f", "category": "U", "boolean": "i"}
    for name, factor in factors().items():
        column = timeline.columns[name]
        assert column.shape == timeline.times.shape == (2016,)
        assert column.dtype.kind == kinds[factor.kind]
        if factor.categories:
            assert set(column.tolist()) <= {*factor.categories, ""}


def test_what_only_a_caller_can_give_is_unknown_and_named(timeline: Timeline) -> None:
    given = {name for name, factor in factors().items() if factor.compute is None or factor.group == "sea_and_air"}
    # The mark has no rates of its stream and no access calendar, and tells nothing of its ground.
    shore = {factor.name for factor in SHORE}
    assert set(timeline.unknown_names()) == given | {"stream_speed", "access_open", "free_time"} | shore


def test_any_instant_has_the_values_of_its_column(timeline: Timeline) -> None:
    rng = np.random.default_rng(7)
    order = rng.permutation(timeline.times.size)
    found = timeline.at(timeline.times[order])
    for name in factors():
        same(found[name], timeline.columns[name][order])
    ticks = timeline.at(timeline.grid.times_us()[order].astype(np.float64), ["height"])
    same(ticks["height"], found["height"])


@settings(max_examples=15, deadline=None)
@given(
    tide=st.sampled_from(list(TIDES)),
    lead=st.integers(0, 40 * 86_400),
    days=st.floats(0.5, 20.0),
    lags=st.booleans(),
)
def test_values_do_not_depend_on_the_span(tide: str, lead: int, days: float, lags: bool) -> None:
    mark = mark_at() if lags else mark_without_lags()
    instants = np.arange(START, START + np.timedelta64(DAY_US, "us"), np.timedelta64(47, "m"))
    start = START - np.timedelta64(lead % (2 * 86_400), "s")
    end = START + np.timedelta64(round((1.0 + days) * DAY_US), "us")
    computed = [name for name, factor in factors().items() if factor.compute is not None]
    one = build_timeline(mark, model_of(tide), START, START + np.timedelta64(DAY_US, "us")).at(instants, computed)
    other = build_timeline(mark, model_of(tide), start, end).at(instants, computed)
    for name in computed:
        if one[name].dtype.kind == "f":
            np.testing.assert_allclose(one[name], other[name], rtol=0.0, atol=1e-7, err_msg=name)
        else:
            np.testing.assert_array_equal(one[name], other[name], err_msg=name)


def test_a_timeline_pickles_before_and_after_use(timeline: Timeline) -> None:
    fresh = build_timeline(mark_at(), model_of("large"), START, END)
    for state in (pickle.dumps(fresh), pickle.dumps(timeline)):
        copy = pickle.loads(state)
        for name in ("height", "named_phase", "flow_index", "light", "making"):
            same(copy.columns[name], timeline.columns[name])
        same(copy.at(timeline.times[:5], ["rate"])["rate"], timeline.columns["rate"][:5])


def test_a_timeline_cannot_be_changed(timeline: Timeline) -> None:
    with pytest.raises(AttributeError):
        timeline.names = ("height",)  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        timeline.columns["height"][0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        timeline.times[0] = START
    with pytest.raises(TypeError):
        timeline.columns["height"] = timeline.times  # type: ignore[index]


def test_only_the_columns_asked_for_are_there() -> None:
    short = build_timeline(mark_at(), model_of("plain"), START, END, names=["light", "height", "light"])
    assert list(short.columns) == ["light", "height"]
    with pytest.raises(KeyError):
        short.columns["rate"]
    assert set(short.at(short.times[:2], ["rate"])) == {"rate"}


def test_marks_of_one_station_share_its_tables() -> None:
    first, second = (build_timeline(mark, model_of("large"), START, END) for mark in (mark_at(), mark_without_lags()))
    assert first.sources.tables is second.sources.tables
    assert tide_tables(model_of("plain"), first.span) is not first.sources.tables


def test_sky_positions_are_shared_where_they_reach() -> None:
    pad = np.timedelta64(4 * DAY_US, "us")
    wide, narrow = sky_positions(START - pad, END + pad), sky_positions(START, END)
    with_wide, with_narrow = (build_timeline(mark_at(), model_of("large"), START, END, sky=s) for s in (wide, narrow))
    assert with_wide.sources.sky is wide
    assert with_narrow.sources.sky is not narrow
    same(with_wide.columns["sun_altitude"], with_narrow.columns["sun_altitude"])


def test_key_times_come_in_order_with_heights(timeline: Timeline) -> None:
    events = timeline.events()
    times = [event.time for event in events]
    assert times == sorted(times)
    assert all(START <= time < END for time in times)
    kinds = [event.kind for event in events]
    assert set(kinds) <= set(KEY_KINDS)
    # 14 days hold 27 tides; every sunrise; new moon on 19 March 2026, full moon on 2 April.
    assert kinds.count("high_water") in (27, 28)
    assert kinds.count("slack_after_hw") in (26, 27, 28)
    assert kinds.count("sunrise") == 14
    assert kinds.count("full_moon") == kinds.count("first_quarter") == 1
    assert kinds.count("new_moon") == 0
    for event in events:
        assert (event.height is not None) == (event.kind in ("high_water", "low_water"))


def test_slack_follows_its_high_water_by_the_lag(timeline: Timeline) -> None:
    highs = [event.time for event in timeline.events() if event.kind == "high_water"]
    slacks = [event.time for event in timeline.events() if event.kind == "slack_after_hw"]
    lag = np.timedelta64(40, "m")
    assert {high + lag for high in highs if high + lag < END} <= set(slacks)


def test_marks_without_lags_have_no_slack_times() -> None:
    events = build_timeline(mark_without_lags(), model_of("large"), START, END).events()
    assert not [event for event in events if event.kind.startswith("slack")]


def test_key_times_of_a_part_are_those_of_the_whole(timeline: Timeline) -> None:
    start, end = np.datetime64("2026-03-22T05:00", "us"), np.datetime64("2026-03-24T11:00", "us")
    inside = tuple(event for event in timeline.events() if start <= event.time < end)
    assert len(inside) > 20
    assert timeline.events(start, end) == inside
    ends = [(one.astype(np.int64).item(), other.astype(np.int64).item()) for one, other in ((start, end), (end, end))]
    assert timeline.events_of_parts(ends) == [inside, ()]
    assert timeline.events_of_parts([]) == []


def test_a_dataset_says_units_and_what_is_unknown(timeline: Timeline) -> None:
    dataset = timeline.to_xarray()
    assert dataset["height"].attrs["units"] == "m"
    assert dataset["wave_height"].isnull().all()
    assert dataset["wave_height"].attrs["provenance"] == "from the caller: not given"
    assert dataset.attrs["datum"] == "local"
    np.testing.assert_array_equal(dataset["time"].values, timeline.times)
    assert dataset["flow_reliable"].attrs["flag_meanings"] == "false true unknown"


@pytest.mark.parametrize(
    ("start", "end", "step", "field"),
    [
        ("2026-03-20", "2026-03-20", "10min", "end"),
        ("2026-03-20", "2026-03-19", "10min", "end"),
        ("2026-03-20", "2027-06-01", "10min", "end"),
        ("2026-03-20", "2027-03-20", "10s", "step"),
        ("2026-03-20", "2026-03-21", "0s", "step"),
        ("2026-03-20", "2026-03-21", "soon", "step"),
        ("1600-01-01", "1600-01-02", "10min", "start"),
        ("1700-06-01", "1700-06-02", "10min", "start"),
        ("2199-06-01", "2199-06-02", "10min", "start"),
        ("soon", "2026-03-21", "10min", "start"),
    ],
)
def test_spans_and_steps_that_make_no_timeline(start: str, end: str, step: str, field: str) -> None:
    with pytest.raises(InvalidSpan) as caught:
        build_timeline(mark_at(), model_of("plain"), start, end, step)
    assert caught.value.faults[0].field == field


def test_instants_far_outside_the_span_are_refused(timeline: Timeline) -> None:
    day = np.timedelta64(DAY_US, "us")
    timeline.at(np.array([START - day, END + day]), ["height"])
    for far in (START - 2 * day, END + 2 * day, np.datetime64("NaT", "us")):
        with pytest.raises(InvalidSpan):
            timeline.at(np.array([far]), ["height"])
    with pytest.raises(InvalidSpan):
        timeline.events(START, END + 2 * day)
    with pytest.raises(InvalidSpan):
        timeline.at(np.array([np.nan]), ["height"])
    with pytest.raises(InvalidInput):
        timeline.at(timeline.times.reshape(2, -1), ["height"])


def test_an_unknown_factor_is_refused(timeline: Timeline) -> None:
    with pytest.raises(UnknownName):
        timeline.at(timeline.times[:2], ["moon_mood"])
    with pytest.raises(UnknownName):
        build_timeline(mark_at(), model_of("plain"), START, END, names=["moon_mood"])


def test_the_tide_is_known_where_the_sky_is_not() -> None:
    old = build_timeline(mark_at(), model_of("large"), "1850-01-01", "1850-01-02")
    assert np.isfinite(old.columns["height"]).all()
    with pytest.raises(OutsideEphemeris):
        old.columns["light"]


def test_an_empty_timeline_is_one(timeline: Timeline) -> None:
    empty = build_timeline(mark_at(), model_of("large"), "2026-03-20T00:01", "2026-03-20T00:02")
    for name in factors():
        assert empty.columns[name].shape == (0,)
    same(empty.at(empty.times)["height"], np.empty(0))
