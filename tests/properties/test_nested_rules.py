"""Rules with groups, events and seasons, drawn at random: what holds of every rule."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.properties.test_windows import TIDES, ends, shapes, timeline_over, wider
from tidecore.rules import SpeciesRule
from tidecore.timebase import US_PER_DAY, US_PER_SECOND
from tidecore.windows import Window, find_all_windows, find_windows
from tidecore.windows.scoring import score_at

POLICIES = st.sampled_from(["exclude", "ignore", "penalise"])
EVENTS = ("high_water", "low_water", "sunset", "last_light", "moonrise", "slack_after_lw")


@st.composite
def leaves(draw: st.DrawFn) -> dict[str, Any]:
    kind = draw(st.integers(0, 5))
    if kind == 0:
        start, length = draw(st.integers(-300, 300)), draw(st.integers(20, 300))
        event, fade = draw(st.sampled_from(EVENTS)), draw(st.sampled_from([0, 45]))
        return {"event": event, "from_min": start, "to_min": start + length, "fade_min": fade}
    if kind == 1:
        seasons = [("03-15", "03-17", 3), ("03-15", "04-02", 0), ("03-20", "03-17", 0), ("10-01", "03-17", 3)]
        first, last, fade_days = draw(st.sampled_from(seasons))
        return {"season": {"from": first, "to": last}, "fade_days": fade_days}
    return {**draw(shapes()), "unknown": draw(POLICIES)}


def terms() -> st.SearchStrategy[dict[str, Any]]:
    def groups(inner: st.SearchStrategy[dict[str, Any]]) -> st.SearchStrategy[dict[str, Any]]:
        members = st.lists(inner, min_size=1, max_size=3)
        return st.builds(lambda mode, all_, policy: {mode: all_, "unknown": policy},
                         st.sampled_from(["all", "any"]), members, POLICIES)  # fmt: skip

    return st.recursive(leaves(), groups, max_leaves=5)


@st.composite
def rules(draw: st.DrawFn) -> SpeciesRule:
    prefer = [
        {**term, "weight": draw(st.floats(0.1, 5.0)), "floor": draw(st.floats(0.05, 0.6))}
        for term in draw(st.lists(terms(), max_size=2))
    ]
    closed = draw(st.sampled_from([[], [], [{"from": "03-18", "to": "03-19", "source": "invented"}]]))
    return SpeciesRule.parse(
        {
            "name": "drawn",
            "species": {"scientific_name": "Piscis inventus"},
            "require": draw(st.lists(terms(), min_size=1, max_size=2)),
            "prefer": prefer,
            "closed_seasons": closed,
            "threshold": draw(st.sampled_from([0.3, 0.5, 0.8, 1.0])),
            "minimum_duration_min": draw(st.sampled_from([5, 30, 90])),
        }
    )


def widened(term: dict[str, Any], by: float) -> dict[str, Any]:
    for mode in ("all", "any"):
        if mode in term:
            return {**term, mode: [widened(member, by) for member in term[mode]]}
    if "event" in term:
        return {**term, "from_min": term["from_min"] - 40 * by, "to_min": term["to_min"] + 40 * by}
    if "shape" in term and term["shape"]["kind"] == "trapezoid":
        return {**term, "shape": wider(term["shape"], by)}
    return term


@settings(max_examples=15, deadline=None)
@given(rule=rules(), by=st.floats(0.0, 1.0), tide=st.sampled_from(TIDES), lags=st.booleans())
def test_widening_any_shape_never_lowers_the_score(rule: SpeciesRule, by: float, tide: str, lags: bool) -> None:
    timeline = timeline_over(tide, 0.0, 120.0, lags)
    plain = rule.to_document()
    plain |= {role: [widened(term, by) for term in plain[role]] for role in ("require", "prefer")}
    ticks = timeline.grid.times_us()
    before, after = (score_at(one, timeline, ticks) for one in (rule, SpeciesRule.parse(plain)))
    # A group "all" is known where a member is 0, whatever another may be; widened, it may no longer be known.
    known = ~before.unknown.any(axis=0)
    assert (after.score[known] >= before.score[known] - 1e-12).all()


@settings(max_examples=15, deadline=None)
@given(rule=rules(), extra=terms(), tide=st.sampled_from(TIDES))
def test_a_new_requirement_never_adds_time(rule: SpeciesRule, extra: dict[str, Any], tide: str) -> None:
    timeline = timeline_over(tide, 0.0, 120.0)
    plain = rule.to_document()
    stricter = SpeciesRule.parse(plain | {"require": [*plain["require"], extra]})
    ticks = timeline.grid.times_us()
    before, after = score_at(rule, timeline, ticks), score_at(stricter, timeline, ticks)
    # Where nothing of the rule itself could be judged it holds nowhere, whatever is not known.
    judged = before.score > 0.0
    assert (after.score[judged] <= before.score[judged] + 1e-12).all()


def scanned(rule: SpeciesRule, timeline: Any) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    """Spans by a scan of every second: those that a search must find, and those within 2 s of the least duration."""
    first, last = timeline.span.start_us - US_PER_DAY // 2, timeline.span.end_us + US_PER_DAY // 2
    holds = score_at(rule, timeline, np.arange(first, last, US_PER_SECOND)).holds
    padded = np.concatenate(([False], holds, [False]))
    starts, stops = np.flatnonzero(~padded[:-1] & padded[1:]), np.flatnonzero(padded[:-1] & ~padded[1:])
    least = rule.minimum_duration_min * 60.0
    wanted: list[tuple[int, int]] = []
    open_: list[tuple[int, int]] = []
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        begin = max(timeline.span.start_us, first + start * US_PER_SECOND)
        end = min(timeline.span.end_us, first + stop * US_PER_SECOND)
        if end - begin > 2 * US_PER_SECOND and stop - start >= least - 2.0:
            (wanted if stop - start >= least + 2.0 else open_).append((begin, end))
    return wanted, open_


@settings(max_examples=25, deadline=None)
@given(rule=rules(), tide=st.sampled_from(TIDES), day=st.integers(0, 20), lags=st.booleans())
def test_edges_are_those_of_a_scan_of_every_second(rule: SpeciesRule, tide: str, day: int, lags: bool) -> None:
    timeline = timeline_over(tide, day * 24.0, 30.0, lags)
    wanted, open_ = scanned(rule, timeline)
    found = [ends(window) for window in find_windows(rule, timeline)]

    def near(one: tuple[int, int], other: tuple[int, int]) -> bool:
        return all(abs(a - b) <= US_PER_SECOND for a, b in zip(one, other, strict=True))

    for pair in wanted:
        assert any(near(pair, other) for other in found), pair
    for pair in found:
        if pair[1] - pair[0] > 2 * US_PER_SECOND:
            assert any(near(pair, other) for other in (*wanted, *open_)), pair


@settings(max_examples=15, deadline=None)
@given(rule=rules(), tide=st.sampled_from(TIDES), cut_h=st.integers(24, 136))
def test_the_mask_of_a_span_is_that_of_its_parts_padded_by_two_days(rule: SpeciesRule, tide: str, cut_h: int) -> None:
    whole = timeline_over(tide, 0.0, 160.0)
    ticks = whole.grid.times_us()
    mask = score_at(rule, whole, ticks).holds
    for start, end in ((0.0, cut_h), (cut_h, 160.0)):
        padded = timeline_over(tide, start - 48.0, end - start + 96.0)
        inside = (ticks >= whole.span.start_us + start * 3.6e9) & (ticks < whole.span.start_us + end * 3.6e9)
        np.testing.assert_array_equal(score_at(rule, padded, ticks[inside]).holds, mask[inside])


@settings(max_examples=12, deadline=None)
@given(asked=st.lists(rules(), min_size=2, max_size=4), tide=st.sampled_from(TIDES))
def test_rules_searched_together_find_what_each_finds_alone(asked: list[SpeciesRule], tide: str) -> None:
    together = find_all_windows(asked, timeline_over(tide, 24.0, 96.0))
    for rule, found in zip(asked, together, strict=True):
        alone = find_windows(rule, timeline_over(tide, 24.0, 96.0))
        assert [ends(one) for one in found] == [ends(one) for one in alone]
        for one, other in zip(found, alone, strict=True):
            _alike(one, other)


def _alike(one: Window, other: Window) -> None:
    np.testing.assert_allclose(one.mean_score, other.mean_score, rtol=1e-9)
    assert one.limiting_factor == other.limiting_factor
    assert [given.path for given in one.contributions] == [given.path for given in other.contributions]
    lost = sum(given.mean_loss for given in one.contributions)
    grouped = {given.path: given.mean_loss for given in one.groups}
    for path, mean_loss in grouped.items():
        inside = sum(given.mean_loss for given in one.contributions if given.path.startswith(path + "."))
        np.testing.assert_allclose(mean_loss, inside, atol=1e-12)
    assert np.exp(-lost) <= one.mean_score + 1e-9
