"""Methods for a session: what suits, what does not, what is unknown; one rod or two; the bag."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conftest import ROOT
from tests.tidecore.rules.test_method import document
from tests.tidecore.timeline.places import mark_at, model_of
from tests.tidecore.windows.doubles import Array, HandTimeline, hour, one_of, trapezoid
from tidecore.errors import InvalidSpan
from tidecore.rules import Method, Species
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import MethodPicks, SessionPlan, pick_methods, two_rods

DEMO = {path.stem: json.loads(path.read_text("utf-8")) for path in (ROOT / "demo_stations" / "methods").glob("*.json")}
TEXT = {"light": "day", "clarity": "", "weed_risk": "", "sea_trend": ""}
BASS = Species(scientific_name="Dicentrarchus labrax", fao_code="BSS")
CALM: dict[str, Any] = {
    "wave_height": 0.2,
    "clarity": "clear",
    "sea_temperature": 7.0,
    "crosswind": 1.0,
    "weed_risk": "low",
}
ROUGH: dict[str, Any] = {
    "wave_height": 1.6,
    "clarity": "coloured",
    "sea_temperature": 7.0,
    "crosswind": 12.0,
    "sea_trend": "falling",
}


def constant(value: float | str) -> Any:
    return lambda hours: np.full(hours.shape, value)


def session(kind: str = "open_beach", beds: tuple[str, ...] = (), **values: Any) -> Timeline:
    """A day at a mark where factors have these values; those that are not given are unknown."""
    factors = {name: name for method in DEMO.values() for name in Method.parse(clean(method)).factor_names}
    functions: dict[str, Any] = {
        name: constant(TEXT.get(name, np.nan))
        for name in (
            *factors,
            "wave_height",
            "clarity",
            "weed_risk",
            "light",
            "crosswind",
            "sea_temperature",
            "stream_speed",
        )
    }
    functions |= {name: value if callable(value) else constant(value) for name, value in values.items()}
    double: Any = HandTimeline(functions)
    double.mark = mark_at(kind=kind, beds=list(beds))
    double.sources.mark = double.mark
    return double


def clean(plain: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in plain.items() if name != "external_ref"}


def method(name: str = "one", **changes: Any) -> Method:
    return Method.parse(document(name=name, **changes))


def picks(
    methods: list[Method], timeline: Timeline, *species: Species, hours: tuple[float, float] = (4, 8)
) -> MethodPicks:
    return pick_methods(methods, timeline, hour(hours[0]), hour(hours[1]), species)


def waves(*corners: float | None, **extras: Any) -> dict[str, Any]:
    return {"factor": "wave_height", "shape": trapezoid(*corners), **extras}


def test_reasons_say_what_suits_what_does_not_and_what_is_unknown():
    terms = [
        waves(None, None, 0.5, 1.0, weight=2.0),
        {"factor": "light", "shape": one_of("night")},
        {"any": [{"factor": "clarity", "shape": one_of("clear")}, {"factor": "weed_risk", "shape": one_of("low")}]},
        {"factor": "sea_temperature", "shape": trapezoid(None, None, 8.0, 12.0)},
    ]
    (pick,) = picks([method(suits=terms)], session(wave_height=0.4, sea_temperature=10.0)).picks
    told = [(one.path, one.verdict, one.membership, one.known) for one in pick.reasons]
    assert told == [
        ("suits.0", "suits", 1.0, 1.0),
        ("suits.1", "against", 0.0, 1.0),
        ("suits.2", "unknown", None, 0.0),
        ("suits.3", "partly", pytest.approx(0.5), 1.0),
    ]
    assert pick.reasons[0].text == "height of the waves 0.4 m"
    assert pick.reasons[1].text == "light day"
    assert pick.reasons[2].factors == ("clarity", "weed_risk")
    assert pick.reasons[2].text.startswith("clarity of the water unknown: ")
    # By hand: weights 2, 1, 1 of four known, floor 0.1; five with what is unknown.
    known = np.log(0.1) + np.log(0.5)
    assert pick.score == pytest.approx(np.exp(known / 4))
    assert pick.most == pytest.approx(np.exp(known / 5))
    assert pick.least == pytest.approx(np.exp((known + np.log(0.1)) / 5))
    assert pick.rank == pytest.approx(np.sqrt(pick.least * pick.most))


def test_a_score_is_the_mean_over_the_session():
    rising = session(wave_height=lambda hours: np.where(hours < 6, 0.2, 3.0))
    (pick,) = picks([method(suits=[waves(None, None, 0.5, 1.0)])], rising).picks
    assert pick.score == pytest.approx(0.5 * (1.0 + 0.1))
    assert pick.reasons[0].text == "height of the waves 0.2 to 3 m"
    assert picks([method(suits=[waves(None, None, 0.5, 1.0)])], rising, hours=(4, 6)).picks[0].score == 1.0


def test_unknown_is_left_out_penalised_or_excludes_as_the_term_says():
    def pick(policy: str) -> Any:
        terms = [waves(None, None, 0.5, 1.0, unknown=policy), {"factor": "light", "shape": one_of("day")}]
        return picks([method(suits=terms)], session()).picks[0]

    assert (pick("ignore").score, pick("ignore").most) == (1.0, 1.0)
    assert pick("penalise").score == pytest.approx(np.sqrt(0.1))
    assert (pick("exclude").score, pick("exclude").least, pick("exclude").most) == (0.0, 0.0, 0.0)


def test_a_method_that_says_nothing_or_of_which_nothing_is_known_has_no_score():
    silent, unknown = picks([method("silent"), method("unknown", suits=[waves(None, None, 0.5, 1.0)])], session()).picks
    assert (silent.method.name, silent.reasons) == ("silent", ())
    for one in (silent, unknown):
        assert one.score is None
        assert one.least == pytest.approx(0.1)
        assert one.most == 1.0


def test_methods_for_other_species_or_ground_are_left_out_with_the_reason():
    methods = [
        method("cod", species=[{"scientific_name": "Gadus morhua", "local_name": "cod"}]),
        method("mud", beds=["mud"]),
        method("any"),
    ]
    found = picks(methods, session(beds=("clean_sand",)), BASS)
    assert [one.method.name for one in found.picks] == ["any"]
    # One of the species fished for is enough.
    both = picks(methods, session(beds=("clean_sand",)), BASS, Species(scientific_name="Gadus morhua"))
    assert {one.method.name for one in both.picks} == {"cod", "any"}
    assert [(one.place, one.reason, one.text) for one in found.left_out] == [
        (0, "other_species", "for cod"), (1, "other_ground", "for mud; the mark has clean sand"),
    ]  # fmt: skip
    # Ground that nobody knows is no reason, and without a species every method is one.
    assert len(picks(methods, session()).picks) == 3


@pytest.mark.parametrize(("start", "end"), [(4.0, 4.1), (0.0, 25.0), (5.0, 4.0)])
def test_a_session_is_a_quarter_of_an_hour_to_a_day(start, end):
    with pytest.raises(InvalidSpan):
        picks([method()], session(), hours=(start, end))


@given(st.lists(st.one_of(st.none(), st.floats(0.0, 3.0)), min_size=1, max_size=4), st.floats(0.1, 2.0))
def test_what_is_known_lies_between_the_bounds_and_waves_that_suit_more_never_rank_lower(
    heights: list[float | None], corner: float
) -> None:
    def values(hours: Array) -> Array:
        each = np.array([np.nan if one is None else one for one in heights])
        return each[np.clip(hours.astype(int) - 4, 0, len(heights) - 1)]

    narrow, wide = (method(suits=[waves(None, None, one, one + 0.5)]) for one in (corner, corner + 1.0))
    timeline = session(wave_height=values)
    one, other = (picks([each], timeline).picks[0] for each in (narrow, wide))
    assert 0.0 <= one.least <= one.rank <= one.most <= 1.0
    assert other.rank >= one.rank - 1e-12
    if None not in heights:
        assert one.least == pytest.approx(one.most)
        assert one.score == pytest.approx(one.most)


def demo(timeline: Timeline, *species: Species, **options: Any) -> tuple[MethodPicks, SessionPlan]:
    found = picks([Method.parse(clean(one)) for one in DEMO.values()], timeline, *species)
    return found, two_rods(found, timeline, **options)


COD = Species(scientific_name="Gadus morhua", fao_code="COD")
WHITING = Species(scientific_name="Merlangius merlangus", fao_code="WHG")


def test_calm_clear_cold_water_asks_for_fine_tackle_one_near_and_one_far():
    found, plan = demo(session(**CALM), WHITING)
    best = found.picks[0].method
    assert best.boldness <= -3
    assert max(snood.length_m for snood in best.snoods) <= 0.5
    assert all(bait.size == "small" for bait in best.baits)
    assert plan.rods is not None
    near, far = plan.rods.steps[0].rods
    assert (plan.rods.rods, plan.reasons) == (2, ())
    assert near.reach_m < 60.0 < far.reach_m


def test_rough_water_asks_for_one_rod_heavier_line_and_streamlined_rigs():
    found, plan = demo(session(**ROUGH), COD)
    best = found.picks[0].method
    assert best.name.startswith("Rough")
    assert {hook.size for hook in best.hooks} <= {"1/0", "2/0", "3/0"}
    assert best.main_line is not None
    assert best.main_line.diameter_mm == 0.4
    assert plan.rods is not None
    assert (plan.rods.rods, plan.reasons) == (1, ("method", "surf"))
    kinds = [one.kind for one in plan.remarks]
    assert kinds == ["one_rod", "reach_cut", "bait_life"]


@pytest.mark.parametrize(("wind", "cut"), [(10.0, False), (10.1, True), (np.nan, False)])
def test_wind_on_to_the_shore_or_across_it_cuts_the_reach(wind, cut):
    """Common practice: over 10 m/s, by a third."""
    _, plan = demo(session(**{**CALM, "crosswind": wind}), COD)
    assert ("reach_cut" in [one.kind for one in plan.remarks]) == cut


@pytest.mark.parametrize(
    ("kind", "values", "reasons"),
    [
        ("open_beach", {"weed_risk": "high"}, ("weed",)),
        ("open_beach", {"wave_height": 1.6}, ("surf",)),
        ("open_beach", {"wave_height": 1.5}, ()),
        ("rock_ledge", {"light": "night"}, ("rock_at_night",)),
        ("rock_ledge", {"light": "day"}, ()),
        ("open_beach", {"light": "night"}, ()),
        ("rock_ledge", {"light": "night", "weed_risk": "high", "wave_height": 2.0}, ("weed", "surf", "rock_at_night")),
    ],
)
def test_one_rod_is_an_answer(kind, values, reasons):
    timeline = session(kind, **values)
    plan = two_rods(picks([method()], timeline), timeline)
    assert plan.rods is not None
    assert (plan.rods.rods, plan.reasons) == (1 if reasons else 2, reasons)


def test_weed_and_sea_that_nobody_knows_are_named_before_two_rods():
    timeline = session()
    plan = two_rods(picks([method()], timeline), timeline)
    assert [one.kind for one in plan.remarks] == ["rods_unknown", "fast_bites", "bait_life"]
    assert "weed and the sea unknown" in plan.remarks[0].text
    calm = session(wave_height=0.3, weed_risk="low")
    assert [one.kind for one in two_rods(picks([method()], calm), calm).remarks] == ["fast_bites", "bait_life"]


def test_four_hours_with_one_rod_at_ten_minutes_on_crab_ground():
    timeline = session(beds=("mussel",), sea_temperature=15.0)
    plan = two_rods(picks([method()], timeline), timeline, 1)
    (item,) = plan.bag
    assert plan.reasons == ("asked",)
    # 5 to 15 min of worm: 16 to 48 changes, so 20 to 90 lugworm.
    assert (item.minutes, item.changes, item.amount) == (240.0, (16, 48), (20, 90))
    assert plan.rods is not None
    assert plan.rods.judge_min == 30.0


def test_what_somebody_found_there_comes_before_what_is_told():
    timeline = session(sea_temperature=8.0)
    found = picks([method()], timeline)
    assert two_rods(found, timeline).lives[0][1].basis == "cold"
    assert two_rods(found, timeline, sea_temperature_c=15.0).lives[0][1].basis == "unknown_ground"
    warm = two_rods(found, timeline, sea_temperature_c=15.0, on_crab_ground=True)
    assert warm.lives[0][1].basis == "warm_crab_ground"


def test_the_bag_sums_a_bait_over_rods_and_names_what_it_is_tipped_with():
    baits = [{"name": "lugworm", "kind": "worm", "cocktail": "squid strip", "grams": 20}]
    timeline = session(beds=("mussel",), sea_temperature=15.0)
    plan = two_rods(picks([method(baits=baits)], timeline), timeline)
    worm, strip = plan.bag
    assert (worm.minutes, worm.changes) == (480.0, (32, 96))
    assert (strip.bait, strip.kind, strip.changes, strip.amount) == ("squid strip", None, (32, 96), None)


def test_tackle_is_looked_at_for_the_methods_of_the_plan_alone():
    weak = {"strength_lb": 30, "rod_lengths": 2, "turns": 7}
    against = method("against", leader=weak, suits=[waves(2.0, 3.0, None, None)])
    timeline = session(wave_height=0.3)
    plan = two_rods(picks([against, method("weak", leader=weak)], timeline), timeline)
    assert [(one.place, one.remark.kind) for one in plan.tackle] == [(1, "leader_weak")]


@pytest.mark.parametrize(
    ("lead", "line", "reach", "run", "verdict", "to"),
    [
        (("grip", 150), 0.35, 90, 0.9, "holds", 1.0),
        (("grip", 150), 0.35, 90, -1.2, "marginal", 1.0),
        (("grip", 150), 0.35, 90, 1.4, "does_not_hold", 1.0),
        (("grip", 150), 0.18, 90, 1.2, "holds", 1.3),
        (("grip", 150), None, 40, 1.2, "holds", 1.3),
        (("grip", 75), 0.35, 90, 0.9, "marginal", np.sqrt(0.5)),
        (("plain", 150), 0.35, 90, 0.9, "unknown", None),
        (("plain", 150), 0.35, 90, 1.4, "does_not_hold", 1.0),
        (("grip", 150), 0.35, 90, np.nan, "unknown", 1.0),
        (None, 0.35, 90, 0.9, "unknown", None),
    ],
)
def test_a_lead_holds_by_its_weight_wires_line_and_reach(lead, line, reach, run, verdict, to):
    tackle: dict[str, Any] = {
        "lead": None if lead is None else {"type": lead[0], "grams": lead[1]},
        "main_line": {"material": "mono", "diameter_mm": line},
        "reach": {"band": "middle", "from_m": reach - 5, "to_m": reach + 5},
    }
    timeline = session(stream_speed=run)
    found = picks([method(**tackle)], timeline)
    (pick,) = found.picks
    assert pick.lead.verdict == verdict
    assert pick.lead.holds_to == (to if to is None else pytest.approx(to))
    drags = verdict in ("marginal", "does_not_hold")
    assert pick.lead.share == float(drags)
    assert ("lead_drags" in [one.kind for one in two_rods(found, timeline).remarks]) == drags


def test_a_stream_that_is_known_for_a_part_does_not_say_that_the_lead_holds():
    part = session(stream_speed=lambda hours: np.where(hours < 6, 0.5, np.nan))
    lead = {"type": "grip", "grams": 150}
    assert picks([method(lead=lead)], part).picks[0].lead.verdict == "unknown"


def test_without_a_method_there_is_no_plan_and_it_is_said():
    timeline = session()
    plan = two_rods(picks([], timeline), timeline)
    assert (plan.rods, plan.bag, [one.kind for one in plan.remarks]) == (None, (), ["no_method"])


def test_a_real_timeline_without_conditions_says_why_it_does_not_know():
    timeline = build_timeline(mark_at(), model_of("large"), "2026-06-01T18:00", "2026-06-01T22:00")
    found = pick_methods([Method.parse(clean(DEMO["surf_short"]))], timeline, timeline.span.start, timeline.span.end)
    verdicts = {one.path: one.verdict for one in found.picks[0].reasons}
    assert verdicts["suits.0"] == "unknown"
    assert "unknown: " in found.picks[0].reasons[0].text
    assert verdicts["suits.1"] != "unknown"
