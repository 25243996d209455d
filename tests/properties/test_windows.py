from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.rules import SpeciesRule
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_SECOND
from tidecore.timeline import Timeline, build_timeline, find_factor
from tidecore.windows import Window, find_windows
from tidecore.windows.scoring import score_at

BASE = np.datetime64("2026-03-14", "us")
TIDES = ("large", "double_low", "mixed", "diurnal", "beating")
#: Numbers with the values between which corners are drawn.
NUMBERS = {
    "height": (0.5, 5.5),
    "rate": (-1.2, 1.2),
    "flow_index": (-1.0, 1.0),
    "flow_strength": (0.0, 1.2),
    "hours_from_hw": (-6.2, 6.2),
    "hours_from_lw": (-6.2, 6.2),
    "height_of_hw": (3.5, 5.5),
    "fraction": (0.0, 1.0),
    "range_ratio": (0.4, 1.1),
    "days_from_springs": (-7.0, 7.0),
    "sun_altitude": (-40.0, 42.0),
    "minutes_from_sunset": (-400.0, 400.0),
    "moon_altitude": (-60.0, 60.0),
    "moonlight": (0.0, 0.8),
    "wave_height": (0.0, 2.0),
}
CATEGORIES = ("light", "direction", "named_phase", "making")

trapezoids = st.tuples(st.sampled_from(list(NUMBERS)), st.lists(st.floats(0.0, 1.0), min_size=4, max_size=4))


@st.composite
def shapes(draw: st.DrawFn) -> dict[str, Any]:
    """A factor and a shape that fits it."""
    kind = draw(st.integers(0, 4))
    if kind == 0:
        factor = draw(st.sampled_from(CATEGORIES))
        values = draw(st.lists(st.sampled_from(find_factor(factor).categories), min_size=1, unique=True))
        return {"factor": factor, "shape": {"kind": "set", "values": values}}
    if kind == 1:
        drawn = sorted(draw(st.lists(st.floats(0.0, 0.9), min_size=4, max_size=4)))
        corners = [corner + 0.02 * place for place, corner in enumerate(drawn)]
        turn = draw(st.floats(0.0, 0.99))
        names = ("from", "full_from", "full_to", "to")
        turned = [round((corner + turn) % 1.0, 3) for corner in corners]
        passed = [(corner - turned[0]) % 1.0 for corner in turned]
        if passed == sorted(passed):
            return {"factor": "tide_phase", "shape": {"kind": "cyclic", **dict(zip(names, turned, strict=True))}}
    factor, parts = draw(trapezoids)
    low, high = NUMBERS[factor]
    # A point has no width: it holds at an instant, and a scan would have to hit it.
    parts = [part + 0.02 * place for place, part in enumerate(sorted(parts))]
    a, b, c, d = (round(low + part * (high - low), 3) for part in parts)
    side = draw(st.integers(0, 3))
    left = {"from": a, "full_from": b if side else a} if side != 1 else {}
    right = {"full_to": c, "to": d if side else c} if side != 2 else {}
    return {"factor": factor, "shape": {"kind": "trapezoid", **left, **right}}


@st.composite
def rules(draw: st.DrawFn) -> SpeciesRule:
    require = draw(st.lists(shapes(), min_size=1, max_size=2))
    prefer = draw(st.lists(shapes(), max_size=2))
    weights = [{"weight": draw(st.floats(0.1, 5.0)), "floor": draw(st.floats(0.05, 0.6))} for _ in prefer]
    return SpeciesRule.parse(
        {
            "name": "drawn",
            "species": {"scientific_name": "Piscis inventus"},
            "require": require,
            "prefer": [{**term, **extra} for term, extra in zip(prefer, weights, strict=True)],
            "threshold": draw(st.sampled_from([0.3, 0.5, 0.8, 1.0])),
            "minimum_duration_min": draw(st.sampled_from([5, 30, 90])),
        }
    )


def timeline_over(tide: str, start_h: float, hours: float, lags: bool = True, step: str = "10min") -> Timeline:
    mark = mark_at() if lags else mark_without_lags()
    start = BASE + np.timedelta64(round(start_h * US_PER_HOUR), "us")
    return build_timeline(mark, model_of(tide), start, start + np.timedelta64(round(hours * US_PER_HOUR), "us"), step)


def ends(window: Window) -> tuple[int, int]:
    return int(window.start.astype(np.int64)), int(window.end.astype(np.int64))


@settings(max_examples=60, deadline=None)
@given(
    rule=rules(),
    tide=st.sampled_from(TIDES),
    start_h=st.floats(0.0, 300.0),
    hours=st.floats(1.0, 200.0),
    lags=st.booleans(),
)
def test_windows_lie_inside_the_span_in_order_and_apart(
    rule: SpeciesRule, tide: str, start_h: float, hours: float, lags: bool
) -> None:
    timeline = timeline_over(tide, start_h, hours, lags)
    windows = find_windows(rule, timeline)
    last = timeline.span.start
    for window in windows:
        assert timeline.span.start <= window.start < window.end <= timeline.span.end
        assert window.start > last or window.start == timeline.span.start
        last = window.end
        cut = window.starts_before or window.ends_after
        assert cut or window.duration_h * 60.0 >= rule.minimum_duration_min - 0.01
        assert 0.0 < window.mean_score <= window.peak_score + 1e-9 <= 1.0 + 2e-9
        assert window.peak_score >= rule.threshold - 1e-9
        assert window.start <= window.peak_time < window.end
        assert window.start <= window.best_hour.start < window.best_hour.end <= window.end
        assert window.best_hour.mean_score >= window.mean_score - 1e-9 or not window.best_hour.whole_window
        # The mean of a logarithm is at most the logarithm of the mean.
        lost = sum(given.mean_loss for given in window.contributions)
        assert np.exp(-lost) <= window.mean_score + 1e-9
        assert (window.limiting_factor is None) == (lost < 1e-9 * len(rule.terms))
        assert all(window.start <= event.time < window.end for event in window.key_times)


def wider(shape: dict[str, Any], by: float) -> dict[str, Any]:
    moved = {"from": -2 * by, "full_from": -by, "full_to": by, "to": 2 * by}
    return {key: value + moved[key] if value is not None and key in moved else value for key, value in shape.items()}


@settings(max_examples=40, deadline=None)
@given(rule=rules(), by=st.floats(0.0, 1.0), tide=st.sampled_from(TIDES))
def test_widening_a_shape_never_lowers_the_score(rule: SpeciesRule, by: float, tide: str) -> None:
    timeline = timeline_over(tide, 0.0, 72.0)
    plain = rule.to_document()
    for term in (*plain["require"], *plain["prefer"]):
        if term["shape"]["kind"] == "trapezoid":
            term["shape"] = wider(term["shape"], by)
    ticks = timeline.grid.times_us()
    before, after = (score_at(one, timeline, ticks).score for one in (rule, SpeciesRule.parse(plain)))
    assert (after >= before - 1e-12).all()


@settings(max_examples=40, deadline=None)
@given(rule=rules(), extra=shapes(), tide=st.sampled_from(TIDES))
def test_a_new_requirement_never_adds_time(rule: SpeciesRule, extra: dict[str, Any], tide: str) -> None:
    timeline = timeline_over(tide, 0.0, 72.0)
    plain = rule.to_document()
    plain["require"] = [*plain["require"], extra]
    stricter = SpeciesRule.parse(plain)
    ticks = timeline.grid.times_us()
    assert (score_at(stricter, timeline, ticks).score <= score_at(rule, timeline, ticks).score + 1e-12).all()
    outer = [ends(window) for window in find_windows(rule, timeline)]
    slack = US_PER_SECOND
    for window in find_windows(stricter, timeline):
        start, end = ends(window)
        assert any(first - slack <= start and end <= last + slack for first, last in outer)


@settings(max_examples=40, deadline=None)
@given(rule=rules(), tide=st.sampled_from(TIDES), start_h=st.floats(0.0, 60.0), hours=st.floats(24.0, 60.0))
def test_windows_of_a_part_are_those_of_the_whole(rule: SpeciesRule, tide: str, start_h: float, hours: float) -> None:
    whole, part = timeline_over(tide, 0.0, 160.0), timeline_over(tide, start_h, hours)
    first, last = part.span.start_us, part.span.end_us

    def clipped(window: Window) -> tuple[int, int]:
        start, end = ends(window)
        return max(start, first), min(end, last)

    wanted = [
        clipped(window)
        for window in find_windows(rule, whole)
        if max(ends(window)[0], first) < min(ends(window)[1], last)
    ]
    found = [ends(window) for window in find_windows(rule, part)]
    # A sliver at a border, or a window as long as the minimum to a hair, may go either way.
    brief = {pair for pair in {*wanted, *found} if pair[1] - pair[0] < US_PER_SECOND}
    wanted, found = [p for p in wanted if p not in brief], [p for p in found if p not in brief]
    assert len(found) == len(wanted)
    np.testing.assert_allclose(np.array(found), np.array(wanted), rtol=0.0, atol=0.2 * US_PER_SECOND)


@settings(max_examples=30, deadline=None)
@given(rule=rules(), tide=st.sampled_from(TIDES), day=st.integers(0, 27))
def test_means_peaks_and_best_hours_are_those_of_a_scan_of_every_second(rule: SpeciesRule, tide: str, day: int) -> None:
    timeline = timeline_over(tide, day * 24.0, 30.0)
    for window in find_windows(rule, timeline)[:6]:
        start, end = ends(window)
        seconds = np.arange(-(-start // US_PER_SECOND), end // US_PER_SECOND)
        if seconds.size < 120:
            continue
        score = score_at(rule, timeline, seconds * US_PER_SECOND).score
        # Ramps that a factor passes within a minute are integrated roughly; most are not so steep.
        assert abs(window.mean_score - score.mean()) < 1e-3 + 1.0 / seconds.size
        # A peak at an end may lie between two seconds.
        assert -5e-4 < window.peak_score - score.max() < 3e-3
        total = np.append(0.0, np.cumsum(score))
        whole = np.flatnonzero((seconds % 60 == 0) & (np.arange(seconds.size) + 3600 <= seconds.size))
        assert window.best_hour.whole_window == (whole.size == 0)
        if whole.size:
            best = float(((total[whole + 3600] - total[whole]) / 3600.0).max())
            assert abs(window.best_hour.mean_score - best) < 2e-3
            assert int(window.best_hour.start.astype(np.int64)) % (60 * US_PER_SECOND) == 0


@settings(max_examples=50, deadline=None)
@given(rule=rules(), tide=st.sampled_from(TIDES), day=st.integers(0, 27), step=st.sampled_from(["10min", "1h", "7min"]))
def test_edges_are_those_of_a_scan_of_every_second(rule: SpeciesRule, tide: str, day: int, step: str) -> None:
    timeline = timeline_over(tide, day * 24.0, 30.0, step=step)
    first, last = timeline.span.start_us - US_PER_DAY // 2, timeline.span.end_us + US_PER_DAY // 2
    ticks = np.arange(first, last, US_PER_SECOND)
    holds = np.concatenate(([False], score_at(rule, timeline, ticks).holds, [False]))
    starts, stops = np.flatnonzero(~holds[:-1] & holds[1:]), np.flatnonzero(holds[:-1] & ~holds[1:])
    least = rule.minimum_duration_min * 60.0
    wanted: list[tuple[int, int]] = []
    open_: list[tuple[int, int]] = []
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        begin, end = (max(timeline.span.start_us, first + start * US_PER_SECOND),
                      min(timeline.span.end_us, first + stop * US_PER_SECOND))  # fmt: skip
        if end - begin > 2 * US_PER_SECOND and stop - start >= least - 2.0:
            (wanted if stop - start >= least + 2.0 else open_).append((begin, end))
    found = [ends(window) for window in find_windows(rule, timeline)]

    def near(one: tuple[int, int], other: tuple[int, int]) -> bool:
        return all(abs(a - b) <= US_PER_SECOND for a, b in zip(one, other, strict=True))

    for pair in wanted:
        assert any(near(pair, other) for other in found), pair
    for pair in found:
        if pair[1] - pair[0] > 2 * US_PER_SECOND:
            assert any(near(pair, other) for other in (*wanted, *open_)), pair
