from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.conditions.issues import START, issue, observed, ticks
from tests.tidecore.conditions.test_in_force import told
from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.conditions import ConditionIssue, Conditions
from tidecore.rules import SpeciesRule
from tidecore.timeline import Timeline, build_timeline, factors
from tidecore.timeline.factor import Factor
from tidecore.windows import explain, find_windows
from tidecore.windows.scoring import score_columns

NAN = float("nan")
SAND: dict[str, Any] = {"beds": ["clean_sand"], "kind": "open_beach"}
SEA_AND_AIR = tuple(name for name, factor in factors().items() if factor.group == "sea_and_air")
#: Calm seas for three weeks before the start, so that the past is known.
BEFORE = tuple(range(-504, 0, 3))


def hourly(first: int, last: int) -> list[float]:
    return [float(hour) for hour in range(first, last + 1)]


def line(*issues: ConditionIssue, hours: tuple[float, float] = (0, 240), warnings: Any = (), **mark: Any) -> Timeline:
    place = mark.pop("place", None) or mark_without_lags(**mark)
    start, end = (START + np.timedelta64(round(hour * 3600), "s") for hour in hours)
    return build_timeline(place, model_of("none"), start, end, conditions=Conditions.of(issues, warnings))


def at(timeline: Timeline, name: str, *hours: float) -> list[Any]:
    return timeline.at(ticks(*hours), [name])[name].tolist()


def waves(hours: Any, heights: Any, **given_so: Any) -> ConditionIssue:
    return issue(
        [float(hour) for hour in hours], float(hours[0]), wave_height_m=[float(h) for h in heights], **given_so
    )


def blow(rise_from: int = 0, top: float = 3.0, last: int = 240) -> ConditionIssue:
    """Calm until an hour, up to the top in 12 h, down again in 24 h, then calm."""
    hours = [*BEFORE, *range(0, last + 1)]
    knots = (rise_from, rise_from + 12, rise_from + 36)
    return waves(hours, np.interp(hours, knots, (0.4, top, 0.4)))


def test_every_variable_comes_through():
    given_so = issue(
        [0, 3],
        wave_height_m=[1, 1], wave_period_s=[11, 11], wave_period_kind="peak", wave_from_degree=[200, 200],
        wind_speed_m_per_s=[6, 6], wind_from_degree=[210, 210], wind_gust_m_per_s=[9, 9], air_temperature_c=[14, 14],
        sea_temperature_c=[13, 13], pressure_hpa=[1010, 1010], cloud_cover_percent=[50, 50], rain_mm_per_h=[1, 1],
        thunder_probability_percent=[5, 5], visibility_m=[9000, 9000], clarity=["tinge", None], weed=["none", None],
    )  # fmt: skip
    timeline = line(given_so, hours=(0, 3), warnings=[told("a", 0)], facing_degree=180.0)
    found = {name: at(timeline, name, 1.0)[0] for name in SEA_AND_AIR}
    assert found.pop("wave_zero_crossing_period") == pytest.approx(11 / 1.28)
    assert found.pop("wave_energy_period") == pytest.approx(10.0)
    assert found.pop("wind_onshore") == pytest.approx(6 * np.cos(np.radians(30.0)))
    assert np.isnan(found.pop("hours_since_sea_peak"))
    assert found == {
        "wave_height": 1, "wave_peak_period": 11, "wave_from": 200, "wind_speed": 6, "wind_from": 210, "wind_gust": 9,
        "air_temperature": 14, "sea_temperature": 13, "pressure": 1010, "cloud_cover": 50, "rain": 1,
        "thunder_probability": 5, "visibility": 9000, "official_warning": "moderate", "sea_trend": "",
        "clarity": "tinge", "weed_risk": "low",
    }  # fmt: skip
    assert set(timeline.unknown_names()) & set(SEA_AND_AIR) == {"hours_since_sea_peak", "sea_trend"}


def test_without_conditions_all_of_it_is_unknown_and_says_so():
    timeline = build_timeline(mark_at(facing_degree=180.0), model_of("plain"), START, START + np.timedelta64(1, "D"))
    assert set(SEA_AND_AIR) <= set(timeline.unknown_names())
    assert timeline.provenance("wave_height") == "from the caller: not given"
    assert timeline.provenance("height") == factors()["height"].provenance
    for name in SEA_AND_AIR:
        assert timeline.breaks_us([name]).size == 0


def test_wind_onto_the_mark():
    winds = issue([0, 1, 2, 3], wind_speed_m_per_s=[10, 10, 10, 10], wind_from_degree=[180, 0, 90, 240])
    found = at(line(winds, hours=(0, 4), facing_degree=180.0), "wind_onshore", 0, 1, 2, 3)
    np.testing.assert_allclose(found, [10.0, -10.0, 0.0, 5.0], atol=1e-9)
    away = line(winds, hours=(0, 4))
    assert np.isnan(at(away, "wind_onshore", 1)).all()
    assert factors()["wind_onshore"].why_unknown(away.sources) == "the mark does not say in which direction it faces"  # type: ignore[misc]


def test_waves_from_outside_the_sector_do_not_reach():
    seas = waves([0, 2, 4, 6], [2, 2, 2, 2], wave_from_degree=[170, 210, 250, 210])
    sheltered = line(seas, hours=(0, 7), exposure={"from_degree": 90.0, "to_degree": 230.0})
    assert at(sheltered, "wave_height", 0, 2.99, 3.01, 4, 4.99, 5.01, 6) == [2, 2, 0, 0, 0, 2, 2]
    assert set(ticks(3, 5).tolist()) <= set(sheltered.breaks_us(["wave_height"]).tolist())
    # What was told of the mark itself has got there; and of a direction that nobody told nothing is known.
    seen = observed([0, 2], wave_height_m=[2, 2], wave_from_degree=[250, 250], waves_at="at_mark")
    sector = {"from_degree": 90.0, "to_degree": 230.0}
    assert at(line(seen, exposure=sector), "wave_height", 1) == [2]
    assert at(line(waves([0, 2], [2, 2]), exposure=sector), "wave_height", 1) == [2]


def test_hours_since_the_sea_peaked():
    timeline = line(blow(rise_from=24), hours=(0, 240))
    # It rises from hour 24; over 1 m (and a fifth over the lowest) from 24 + 12 * 0.6 / 2.6 = 26.77 on; top at 36.
    found = at(timeline, "hours_since_sea_peak", 0, 26.5, 27, 36, 36.5, 60, 200)
    np.testing.assert_allclose(found, [240, 240, 0, 0, 0.5, 24, 164])
    assert np.isnan(at(line(blow(24), hours=(0, 300)), "hours_since_sea_peak", 241)).all()


def test_no_peak_is_invented_where_the_past_is_not_known():
    falling = waves(range(0, 200, 3), np.interp(range(0, 200, 3), (0, 24), (3.0, 0.5)))
    timeline = line(falling, hours=(0, 198))
    assert np.isnan(at(timeline, "hours_since_sea_peak", 0, 12, 100, 198)).all()
    steady = waves(range(0, 400, 3), [2.0] * 134)
    assert at(line(steady, hours=(0, 390)), "hours_since_sea_peak", 263.9, 264)[1] == 240
    # A gap of 12 h is looked over, one of 15 h is not.
    hours = [*BEFORE, *range(0, 100, 3)]
    heights = np.interp(hours, (0, 12, 36), (0.4, 3.0, 0.4))
    for gap, known in ((12, True), (15, False)):
        kept = [k for k, hour in enumerate(hours) if not 36 < hour < 36 + gap]
        found = at(line(waves([hours[k] for k in kept], heights[kept])), "hours_since_sea_peak", 60.0)
        assert (found == [48.0]) if known else np.isnan(found).all()


def test_a_second_lower_blow_counts_as_a_peak():
    hours = [*BEFORE, *range(0, 200, 3)]
    two = waves(hours, np.interp(hours, (0, 12, 36, 60, 72, 96), (0.4, 5.0, 1.0, 1.0, 2.0, 0.5)))
    np.testing.assert_allclose(at(line(two), "hours_since_sea_peak", 50, 84, 96), [38, 12, 24])


def test_rising_steady_falling():
    seas = waves([-3, 0, 3, 6, 9, 12], [1.0, 1.0, 1.0, 1.3, 1.3, 0.9])
    timeline = line(seas, hours=(-3, 14))
    found = at(timeline, "sea_trend", -3, -0.1, 0, 3.5, 4.0, 4.1, 6, 9, 9.5, 10, 12, 13)
    # 0.1 m over what it was is reached an hour into the rise, and 0.13 m under 1.3 m at 9 + 3 * 0.13 / 0.4 = 9.975.
    assert found == [
        "", "", "steady", "steady", "rising", "rising", "rising", "steady", "steady", "falling", "falling", "",
    ]  # fmt: skip


def test_the_water_clears_by_its_bed():
    # 1.5 m are passed at 12 * 1.1 / 2.6 = 5.08 and at 36 - 24 * 1.1 / 2.6 = 25.85: to ten minutes 5.17 and 25.83.
    cases = {"clean_sand": (24, 48), "shingle": (12, 24), "rough_rock_and_kelp": (12, 24), "mud": (72, 120)}
    for bed, (tinged, clear) in cases.items():
        timeline = line(blow(0), beds=[bed], kind="open_beach")
        end = 25 + 5 / 6
        hours = (0, 5.1, 5.2, end, end + 0.1, end + tinged - 0.1, end + tinged, end + clear - 0.1, end + clear, 240)
        assert at(timeline, "clarity", *hours) == [
            "clear", "clear", "thick", "thick", "coloured", "coloured", "tinge", "tinge", "clear", "clear",
        ]  # fmt: skip
    # Of several beds the one that clears last counts.
    both = line(blow(0), beds=["shingle", "clean_sand"], kind="open_beach")
    assert at(both, "clarity", 25.85 + 23) == ["coloured"]


def test_clarity_is_unknown_without_bed_or_past():
    no_bed = line(blow(0), kind="open_beach")
    assert set(no_bed.columns["clarity"].tolist()) == {""}
    assert "no bed is stated" in factors()["clarity"].why_unknown(no_bed.sources)  # type: ignore[misc]
    no_past = line(waves(range(0, 73, 3), [0.5] * 25), hours=(0, 72), **SAND)
    assert at(no_past, "clarity", 0, 47.9, 48, 72) == ["", "", "clear", "clear"]
    said = factors()["clarity"].why_unknown(no_past.sources)  # type: ignore[misc]
    assert said.startswith("past seas or rain are not known for long enough before a part of the span")
    assert "the forecast of Invented Met issued 2026-10-05T00:00Z" in said


def test_seas_that_run_elsewhere_colour_nothing():
    rough = blow(0).to_document()
    rough["values"]["wave_from_degree"] = [90.0] * len(rough["times"])
    seas = ConditionIssue.parse(rough)
    assert at(line(seas, **SAND, facing_degree=100.0), "clarity", 20) == ["thick"]
    assert at(line(seas, **SAND, facing_degree=270.0), "clarity", 20) == ["clear"]
    # They are none of the mark's exposure, but without a sector the height is as given.
    assert at(line(seas, **SAND, facing_degree=270.0), "wave_height", 12) == [3.0]


def test_what_was_seen_goes_before_the_proxy():
    timeline = line(blow(0), observed([20], clarity=["clear"], weed=["unfishable"]), **SAND)
    assert at(timeline, "clarity", 19.9, 20, 31.9, 32) == ["thick", "clear", "clear", "coloured"]
    assert at(timeline, "weed_risk", 19.9, 20, 25.9, 200) == ["high", "high", "high", "low"]


def test_springs_colour_mud():
    place = mark_without_lags(beds=["mud"], kind="open_beach")
    calm = waves([*BEFORE, *range(0, 480, 3)], [0.3] * (len(BEFORE) + 160))
    timeline = line(calm, hours=(0, 470), place=place, tide="beating")
    timeline = build_timeline(
        place, model_of("beating"), START, START + np.timedelta64(19, "D"), conditions=Conditions.of([calm])
    )
    springs = np.abs(timeline.columns["days_from_springs"]) <= 2.0
    assert springs.any()
    assert not springs.all()
    wanted = np.where(springs, "coloured", "clear")
    np.testing.assert_array_equal(timeline.columns["clarity"], wanted)


def test_rain_colours_an_estuary():
    hours = hourly(-504, 120)
    rain = [2.5 if 0 <= hour <= 10 else 0.0 for hour in hours]
    both = issue(hours, rain_mm_per_h=rain, wave_height_m=[0.2] * len(hours), waves_at="at_mark")
    timeline = line(both, hours=(0, 110), beds=["clean_sand"], kind="estuary")
    # With the ramps of half an hour at each end, 20 mm have fallen at 7.5 h; 24 h back they are 20 mm until 26.5.
    past = np.array(at(timeline, "clarity", 7, 7.6, 26, 27, 50, 51, 98, 99))
    assert past.tolist() == ["clear", "coloured", "coloured", "coloured", "coloured", "tinge", "tinge", "clear"]
    dry = issue(hours, wave_height_m=[0.2] * len(hours), waves_at="at_mark")
    assert set(line(dry, hours=(0, 110), beds=["clean_sand"], kind="estuary").columns["clarity"].tolist()) == {""}
    assert at(line(dry, hours=(0, 110), **SAND), "clarity", 50) == ["clear"]


def test_weed_drifts_after_a_sea():
    # 2 m are passed at 12 * 1.6 / 2.6 = 7.38 and at 36 - 24 * 1.6 / 2.6 = 21.23; to ten minutes 7.5 and 21.17.
    end = 21 + 1 / 6
    hours = (0, 7.3, 7.6, end, end + 95.9, end + 96.1, 239)
    assert at(line(blow(0), **SAND), "weed_risk", *hours) == ["low", "low", "high", "high", "high", "low", "low"]
    # The start lies in October; on the other half of the globe that is spring.
    south = line(blow(0), **SAND, latitude=-40.0)
    assert at(south, "weed_risk", *hours) == ["low", "low", "likely", "likely", "likely", "low", "low"]
    assert at(line(waves(range(0, 120, 3), [0.5] * 40), **SAND), "weed_risk", 95, 97) == ["", "low"]


def test_the_first_springs_float_the_strand_line_once():
    calm = waves([*BEFORE, *range(0, 900, 3)], [0.3] * (len(BEFORE) + 300))
    place = mark_without_lags(**SAND)
    model = model_of("beating")
    start, end = START, START + np.timedelta64(36, "D")

    def weed(*more: ConditionIssue) -> Timeline:
        return build_timeline(place, model, start, end, "1h", conditions=Conditions.of([calm, *more]))

    found = weed()
    assert set(found.columns["weed_risk"].tolist()) == {"low"}
    heights = found.sources.cycle
    days = heights.days_from_springs(found.grid.times_us())
    tops = found.times[1:][(days[:-1] > 3.0) & (days[1:] < -3.0)]
    # A sea just after the middle between two springs; the springs that follow float the weed, those after do not.
    middle = (tops[0] - START) / np.timedelta64(1, "h")
    sea = waves(middle + np.arange(4.0), [3.0] * 4)
    found = weed(sea)
    risk, hours = found.columns["weed_risk"], (found.times - START) / np.timedelta64(1, "h") - middle
    drifting = (hours >= 0) & (hours < 3 + 96)
    assert set(risk[drifting].tolist()) <= {"high", "likely"}
    days = found.columns["days_from_springs"]
    first = ~drifting & (hours > 0) & (hours < 24 * 11) & (np.abs(days) <= 2.0)
    assert first.any()
    assert set(risk[first].tolist()) == {"likely"}
    assert set(risk[~drifting & ~first].tolist()) == {"low"}


def test_weed_is_less_at_slack():
    place = mark_at(**SAND)
    timeline = build_timeline(place, model_of("plain"), START, START + np.timedelta64(2, "D"), "5min",
                              conditions=Conditions.of([blow(0)]))  # fmt: skip
    slack = timeline.sources.slacks_us
    near = np.abs(timeline.grid.times_us()[:, None] - slack).min(axis=1) <= 30 * 60_000_000
    raised = timeline.times > START + np.timedelta64(8, "h")
    risk = timeline.columns["weed_risk"]
    assert set(risk[raised & near].tolist()) == {"likely"}
    assert set(risk[raised & ~near].tolist()) == {"high"}


@st.composite
def some_issue(draw: Any) -> ConditionIssue:
    first = draw(st.integers(-400, 100))
    count = draw(st.integers(2, 40))
    hours = [float(first + 3 * k) for k in range(count)]
    numbers = st.lists(st.integers(0, 40).map(lambda tenths: tenths / 10.0), min_size=count, max_size=count)
    turned = st.lists(st.integers(0, 36).map(lambda tens: tens * 10.0), min_size=count, max_size=count)
    given_so: dict[str, Any] = {"wave_height_m": draw(numbers), "wave_from_degree": draw(turned)}
    given_so |= {"wind_speed_m_per_s": draw(numbers), "wind_from_degree": draw(turned), "rain_mm_per_h": draw(numbers)}
    if draw(st.booleans()):
        given_so["clarity"] = [draw(st.sampled_from(["clear", "thick", None])) for _ in hours]
    return issue(hours, issued=draw(st.integers(-400, int(hours[-1]))), **given_so)


PLACE = mark_at(beds=["mud"], kind="estuary", facing_degree=180.0, exposure={"from_degree": 100.0, "to_degree": 260.0})
LONG = blow(20).to_document()
LONG["values"]["rain_mm_per_h"] = [0.0] * len(LONG["times"])


def built(issues: list[ConditionIssue], first: float, last: float, tide: str = "beating") -> Timeline:
    start, end = (START + np.timedelta64(round(hour * 3600), "s") for hour in (first, last))
    merged = Conditions.of([ConditionIssue.parse(LONG), *issues])
    return build_timeline(PLACE, model_of(tide), start, end, conditions=merged)


@settings(max_examples=15, deadline=None)
@given(st.lists(some_issue(), max_size=4), st.integers(0, 200), st.integers(0, 200))
def test_a_value_hangs_on_no_span(issues: list[ConditionIssue], before: int, after: int) -> None:
    instants = ticks(*np.arange(40.0, 60.0, 0.37))
    one = built(issues, 40, 60).at(instants, SEA_AND_AIR)
    other = built(issues, 40 - before, 60 + after).at(instants, SEA_AND_AIR)
    for name in SEA_AND_AIR:
        np.testing.assert_array_equal(one[name], other[name])


@settings(max_examples=15, deadline=None)
@given(st.lists(some_issue(), max_size=3), some_issue())
def test_nothing_before_its_first_time_is_changed_by_an_issue(
    issues: list[ConditionIssue], later: ConditionIssue
) -> None:
    first = np.datetime64(later.times[0].replace(tzinfo=None), "us")
    start, end = (first - START) / np.timedelta64(1, "h") - 100.0, (first - START) / np.timedelta64(1, "h")
    one, other = built(issues, start, end), built([*issues, later], start, end)
    for name in SEA_AND_AIR:
        np.testing.assert_array_equal(one.columns[name], other.columns[name])


#: What may change between two breaks: by the springs of the tide and by the month.
SLOW = {"clarity", "weed_risk"}


@settings(max_examples=15, deadline=None)
@given(st.lists(some_issue(), max_size=4))
def test_between_two_breaks_nothing_jumps(issues: list[ConditionIssue]) -> None:
    timeline = built(issues, 0, 120, "none")
    for name in SEA_AND_AIR:
        factor: Factor = factors()[name]
        breaks = timeline.breaks_us([name])
        inside = (breaks > timeline.span.start_us) & (breaks < timeline.span.end_us)
        edges = np.array([timeline.span.start_us, *breaks[inside], timeline.span.end_us])
        wide = np.flatnonzero(np.diff(edges) > 8)
        left, right = edges[:-1][wide], edges[1:][wide] - 1
        at_left, middle, at_right = (timeline.at(when, [name])[name] for when in (left, (left + right) // 2, right))
        if factor.kind == "category":
            np.testing.assert_array_equal(at_left, middle)
            np.testing.assert_array_equal(at_left, at_right)
        else:
            np.testing.assert_array_equal(np.isnan(at_left), np.isnan(at_right))
            np.testing.assert_array_equal(np.isnan(at_left), np.isnan(middle))
            if factor.period is None and name != "wind_onshore":
                np.testing.assert_allclose(middle, (at_left + at_right) / 2.0, atol=1e-5)


def rule(factor: str, **shape: Any) -> SpeciesRule:
    document = {"name": "After a blow", "species": {"scientific_name": "Piscis fictus"}, "minimum_duration_min": 5}
    return SpeciesRule.parse(document | {"provenance": "a test", "require": [{"factor": factor, "shape": shape}]})


@pytest.mark.parametrize(
    ("factor", "shape"),
    [
        ("wave_height", {"kind": "trapezoid", "from": 0.4, "full_from": 0.9, "full_to": 1.4, "to": 1.8}),
        ("sea_trend", {"kind": "set", "values": ["falling"]}),
        ("clarity", {"kind": "set", "values": ["tinge", "coloured"]}),
        ("hours_since_sea_peak", {"kind": "trapezoid", "from": 20, "full_from": 24, "full_to": 60, "to": 72}),
        ("weed_risk", {"kind": "set", "values": ["low"]}),
    ],
)
def test_window_edges_are_those_of_a_scan_by_the_second(factor: str, shape: dict[str, Any]) -> None:
    wanted = rule(factor, **shape)
    timeline = built([], 0, 120, "none")
    windows = find_windows(wanted, timeline)
    assert windows
    seconds = timeline.span.start_us + 1_000_000 * np.arange(120 * 3600)
    columns = timeline.at(seconds, [factor])
    holds = score_columns(wanted, columns, flow_reliable=True).score >= wanted.threshold - 1e-9
    edges = np.flatnonzero(np.diff(np.concatenate(([0], holds.astype(int), [0]))))
    scanned = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= 300]
    assert len(scanned) == len(windows)
    for (first, last), window in zip(scanned, windows, strict=True):
        start = (window.start - timeline.span.start) / np.timedelta64(1, "s")
        end = (window.end - timeline.span.start) / np.timedelta64(1, "s")
        assert abs(start - first) <= 1.0
        assert abs(end - last) <= 1.0


def test_an_unknown_says_what_is_missing():
    calm = rule("wave_height", kind="trapezoid", full_to=1.0, to=2.0)
    short = waves(range(0, 13, 3), [0.5] * 5)
    timeline = line(short, hours=(0, 48))
    (unknown,) = explain(calm, timeline).unknowns
    assert unknown.reason == (
        "sea not assessed after 2026-10-05T12:00Z: the forecast of Invented Met issued 2026-10-05T00:00Z ends there"
    )
    assert timeline.provenance("wave_height") == "the forecast of Invented Met issued 2026-10-05T00:00Z"
    assert timeline.provenance("rain") == "forecasts and observations from the caller: none in this span"
    assert timeline.to_xarray()["wave_height"].attrs["provenance"] == timeline.provenance("wave_height")
