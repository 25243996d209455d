from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pytest

from tests.tidecore.offsets.tables import TEXTBOOK, TEXTBOOK_HIGH, by_ratio, evenly
from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.errors import InvalidInput
from tidecore.model import TideModel
from tidecore.offsets import place_heights, place_times
from tidecore.place import Mark, MarkOffsets
from tidecore.timeline import build_timeline, factors
from tidecore.units import AnyArray

START, END = "2026-03-01", "2026-03-15"
OFFSETS = evenly(45, 20, by_ratio(1.2), None, datum="local, at the ledge").to_document()
TIDAL = [name for name, factor in factors().items() if factor.group == "tide"]


def columns(mark: Mark, model: TideModel, **asked: Any) -> dict[str, AnyArray]:
    timeline = build_timeline(mark, model, START, END, names=TIDAL, **asked)
    return {name: timeline.columns[name] for name in TIDAL}


@pytest.mark.parametrize("tide", ["large", "double_low", "mixed"])
@pytest.mark.parametrize("lags", [None, {"after_hw_min": 40, "after_lw_min": 25}])
def test_no_differences_change_no_factor(tide: str, lags: Any) -> None:
    same = columns(mark_at(slack_lags=lags, offsets=evenly(0, 0).to_document()), model_of(tide))
    plain = columns(mark_at(slack_lags=lags), model_of(tide))
    for name in TIDAL:
        if same[name].dtype.kind == "f":
            np.testing.assert_allclose(same[name], plain[name], atol=1e-7, err_msg=name)
        else:
            np.testing.assert_array_equal(same[name], plain[name], err_msg=name)


def test_equal_differences_are_the_tide_some_minutes_later() -> None:
    later = build_timeline(mark_at(offsets=evenly(50, 50).to_document()), model_of("large"), START, END)
    plain = build_timeline(mark_at(), model_of("large"), START, END)
    times = later.times[200:-200]
    shifted = plain.at(times - np.timedelta64(50, "m"), TIDAL)
    for name, values in later.at(times, TIDAL).items():
        if name in ("range_ratio", "days_from_springs", "making"):
            continue  # the cycle is the station's
        if values.dtype.kind == "f":
            np.testing.assert_allclose(values, shifted[name], atol=1e-7, err_msg=name)
        else:
            np.testing.assert_array_equal(values, shifted[name], err_msg=name)


def test_tide_at_the_mark_is_its_own() -> None:
    model, mark = model_of("large"), mark_at(offsets=OFFSETS)
    timeline = build_timeline(mark, model, START, END)
    assert timeline.datum == "local, at the ledge"
    assert build_timeline(mark_at(offsets=evenly(5, 5).to_document()), model, START, END).datum == "local"
    station = model.extremes("2026-02-27", "2026-03-17").primaries()
    high = station.kind == "high"
    times = place_times(mark.offsets, station.times_us(), high)  # type: ignore[arg-type]
    heights = place_heights(mark.offsets, station.height, high)[0]  # type: ignore[arg-type]
    events = {e.time: e for e in timeline.events() if e.kind in ("high_water", "low_water")}
    inside = [k for k in range(len(times)) if timeline.span.start_us <= times[k] < timeline.span.end_us]
    assert len(events) == len(inside) > 50
    for k in inside:
        event = events[times[k].view("datetime64[us]")]
        assert (event.kind == "high_water") == high[k]
        assert event.height == heights[k]
        assert not event.held
    at = timeline.at(times[inside][high[inside]], ["height", "hours_from_hw", "rate", "fraction", "height_of_hw"])
    np.testing.assert_allclose(at["height"], heights[inside][high[inside]], atol=1e-9)
    np.testing.assert_allclose(at["hours_from_hw"], 0.0, atol=1e-12)
    np.testing.assert_allclose(at["rate"], 0.0, atol=1e-6)
    np.testing.assert_allclose(at["fraction"], 1.0, atol=1e-9)


def test_stream_stops_where_the_lags_say_after_the_marks_own_waters() -> None:
    model, mark = model_of("large"), mark_at(offsets=OFFSETS)
    timeline = build_timeline(mark, model, START, END)
    slacks = [e.time for e in timeline.events() if e.kind.startswith("slack")]
    assert len(slacks) > 50
    np.testing.assert_allclose(timeline.at(np.array(slacks), ["flow_index"])["flow_index"], 0.0, atol=1e-7)
    without = build_timeline(mark_without_lags(offsets=OFFSETS), model, START, END)
    turns = [e.time for e in without.events() if e.kind in ("high_water", "low_water")]
    np.testing.assert_allclose(without.at(np.array(turns), ["flow_index"])["flow_index"], 0.0, atol=1e-7)
    # The strength is that of the station's stream: a mark with a higher tide has the same springs.
    plain = build_timeline(mark_at(), model, START, END)
    strongest = [np.abs(one.columns["flow_index"]).max() for one in (timeline, plain)]
    assert strongest[0] == pytest.approx(strongest[1], rel=2e-3)


def test_values_do_not_depend_on_the_span_and_the_timeline_pickles() -> None:
    model, mark = model_of("mixed"), mark_at(offsets=OFFSETS)
    long = build_timeline(mark, model, "2026-02-01", "2026-04-01")
    for start, end in (("2026-03-03", "2026-03-04"), ("2026-03-07T11:20", "2026-03-09T05:00")):
        short = pickle.loads(pickle.dumps(build_timeline(mark, model, start, end)))
        ends = np.array([start, end], dtype="datetime64[us]") + np.timedelta64(1, "D") * np.array([-1, 1])
        times = np.arange(ends[0], ends[1], np.timedelta64(7, "m"))
        for name, values in long.at(times, TIDAL).items():
            again = short.at(times, [name])[name]
            if values.dtype.kind == "f":
                np.testing.assert_allclose(again, values, atol=1e-9, err_msg=name)
            else:
                np.testing.assert_array_equal(again, values, err_msg=name)


def test_a_height_far_outside_the_table_is_flagged() -> None:
    low = {"kind": "differences", "springs": {"station_height_m": 0.4, "higher_m": 0.1},
           "neaps": {"station_height_m": 1.1, "higher_m": 0.2}}  # fmt: skip
    table = TEXTBOOK | {
        "high_water": TEXTBOOK["high_water"] | {"heights": TEXTBOOK_HIGH},
        "low_water": TEXTBOOK["low_water"] | {"heights": low},
    }
    timeline = build_timeline(mark_at(offsets=table), model_of("large"), START, END)
    waters = [e for e in timeline.events() if e.kind == "high_water" and e.height is not None]
    # Followed up to 4.6 m at the station, where the place has 5.85 m.
    assert {e.held for e in waters} == {True, False}
    assert all(e.held == (e.height > 5.85 or e.height < 3.65) for e in waters if e.height is not None)


def test_offsets_that_make_no_tide_of_this_station_are_refused() -> None:
    with pytest.raises(InvalidInput, match="at or below"):
        build_timeline(mark_at(offsets=evenly(0, 0, by_ratio(0.2)).to_document()), model_of("large"), START, END)


def test_a_mark_says_what_is_wrong_with_its_offsets() -> None:
    with pytest.raises(InvalidInput) as raised:
        mark_at(offsets=MarkOffsets.parse(TEXTBOOK).to_document() | {"standard_zone": "summer"}, kind="lake")
    assert {fault.field for fault in raised.value.faults} == {"offsets.standard_zone", "kind"}
