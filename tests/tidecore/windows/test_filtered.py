"""Windows held to a filter: where it is true to the second, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, model_of
from tests.tidecore.windows.doubles import START_US, hour, timeline
from tidecore.filters import Filter
from tidecore.rules import SpeciesRule
from tidecore.timebase import US_PER_HOUR, US_PER_SECOND
from tidecore.timeline import build_timeline
from tidecore.windows import explain, find_windows
from tidecore.windows.filtering import held_to, true_spans
from tidecore.windows.scoring import score_at

ANY_TIME = {"factor": "height", "shape": {"kind": "trapezoid", "from": -100.0, "full_from": -100.0}}


def rule(minutes=1.0, **changes):
    document = {"name": "any time", "species": {"scientific_name": "Piscis inventus"}, "require": [ANY_TIME],
                "prefer": [], "threshold": 0.5, "minimum_duration_min": minutes, **changes}  # fmt: skip
    return SpeciesRule.parse(document)


def hours_of(text, functions, **options):
    one = timeline(functions, **options)
    first, last = one.span.start_us, one.span.end_us
    spans = true_spans(Filter.parse(text), one, first, last)
    return [((start - START_US) / US_PER_HOUR, (end - START_US) / US_PER_HOUR) for start, end in spans]


def approx(pairs):
    return [pytest.approx(pair, abs=0.1 / 3600.0) for pair in pairs]


def test_edges_lie_where_the_comparison_turns():
    rising = {"height": lambda h: h / 10.0}
    assert hours_of("height > 0.1234", rising) == approx([(1.234, 24.0)])
    assert hours_of("NOT (height > 0.1234)", rising) == approx([(0.0, 1.234)])
    assert hours_of("height / (height - 0.5) > 2", rising) == approx([(5.0, 10.0)])


def test_a_band_that_is_passed_between_two_samples_is_found():
    assert hours_of("height BETWEEN 0.1001 AND 0.1002", {"height": lambda h: h / 10.0}) == approx([(1.001, 1.002)])


def test_a_peak_and_a_dip_between_two_samples_are_found():
    peak = {"height": lambda h: 1.0 - (h - 5.05) ** 2}
    assert hours_of("height > 0.9999", peak) == approx([(5.04, 5.06)])
    assert hours_of("height < 0.9999", peak) == approx([(0.0, 5.04), (5.06, 24.0)])


def test_times_cut_to_the_microsecond():
    found = hours_of("T_DURING(time, INTERVAL('2026-03-20T01:00:01Z','2026-03-20T01:00:02Z'))", {"height": lambda h: h})
    assert found == approx([(1.0 + 1.0 / 3600.0, 1.0 + 2.0 / 3600.0)])


def test_what_is_unknown_is_no_window():
    partly = {"height": lambda h: np.where((h >= 3.0) & (h < 6.0), np.nan, 1.0)}
    for text in ("height > 0", "NOT (height < 0)"):
        assert hours_of(text, partly, breaks=(3.0, 6.0)) == approx([(0.0, 3.0), (6.0, 24.0)])


def test_steps_of_a_minute_are_followed():
    found = hours_of("(height % 10) < 5", {"height": lambda h: h * 60.0}, hours=(0.0, 1.0))
    assert found == approx([(k / 6.0, k / 6.0 + 1.0 / 12.0) for k in range(6)])


def test_spans_in_both():
    assert held_to([(0, 5), (7, 9)], [(1, 2), (4, 8), (9, 11)]) == [(1, 2), (4, 5), (7, 8)]


def test_a_window_is_what_the_filter_leaves_of_it():
    one = timeline({"height": lambda h: h})
    within = Filter.parse("height > 2.5 AND height < 4 OR time >= TIMESTAMP('2026-03-20T20:00:00Z')")
    found = find_windows(rule(), one, within=within)
    edges = [(edge - hour(0.0)) / np.timedelta64(1, "h") for window in found for edge in (window.start, window.end)]
    assert edges == pytest.approx([2.5, 4.0, 20.0, 24.0], abs=0.1 / 3600.0)
    assert [(window.starts_before, window.ends_after) for window in found] == [(False, False), (False, True)]
    assert find_windows(rule(minutes=120.0), one, within=within)[0].start == found[1].start


def test_a_filter_that_leaves_nothing_is_said():
    one = timeline({"height": lambda h: np.where(h < 12.0, np.nan, h)})
    within = Filter.parse("height > 100")
    assert find_windows(rule(), one, within=within) == []
    said = explain(rule(), one, within=within).sentences[-1]
    assert said.startswith("The filter is true for 0% of the span and unknown for 50% of it (height)")


@pytest.mark.parametrize(
    "text",
    [
        "flow_strength > 0.4 AND direction = 'ebb'",
        "NOT (light = 'day') AND rate < height / 10 - 0.2",
        "hours_from_lw BETWEEN -1.5 AND 1.5 OR named_phase = 'top_of_the_tide'",
        "(minutes_from_sunset > 0) = (height > 3)",
        "wave_height > 1 OR moon_altitude ^ 2 < 100",
        "wave_height > 1",
    ],
)
def test_a_scan_by_the_second_sees_the_same(text):
    built = build_timeline(mark_at(), model_of("large"), "2026-03-20", "2026-03-22")
    within = Filter.parse(text)
    wanted = SpeciesRule.parse({"name": "half", "species": {"scientific_name": "Piscis inventus"}, "prefer": [],
                                "require": [{"factor": "height", "shape": {"kind": "trapezoid", "from": 1.5,
                                             "full_from": 2.5}}], "threshold": 0.5})  # fmt: skip
    seconds = np.arange(built.span.start_us, built.span.end_us, US_PER_SECOND)
    scanned = score_at(wanted, built, seconds).holds & (within.mask_at(built, seconds) == 1)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], scanned, [False])).astype(np.int8)))
    expected = built.span.start_us + edges * US_PER_SECOND
    found = [
        int(edge.astype("datetime64[us]").astype(np.int64))
        for window in find_windows(wanted, built, within=within)
        for edge in (window.start, window.end)
    ]
    shortest = round(wanted.minimum_duration_min * 60.0 * US_PER_SECOND)
    kept = [pair for pair in expected.reshape(-1, 2).tolist() if pair[1] - pair[0] >= shortest]
    assert len(found) == 2 * len(kept)
    assert np.abs(np.array(found) - np.array(kept, dtype=np.int64).ravel()).max(initial=0) <= US_PER_SECOND
