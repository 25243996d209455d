"""Each starter rule is met at an instant as the trade describes it, and not at one that differs in what it excludes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tidecore import SpeciesRule
from tidecore.rules import lint
from tidecore.timeline import factors
from tidecore.windows import score_columns

RULES = {
    path.stem: SpeciesRule.parse(json.loads(path.read_text("utf-8")))
    for path in sorted((Path(__file__).parents[2] / "demo_stations" / "rules").glob("*.json"))
}
Values = dict[str, Any]
NIGHT: Values = {"sun_altitude": -25.0, "minutes_from_sunset": 200.0, "minutes_from_sunrise": -300.0}
NOON: Values = {"sun_altitude": 40.0, "minutes_from_sunset": -400.0, "minutes_from_sunrise": 400.0}
DUSK: Values = {"sun_altitude": -2.0, "minutes_from_sunset": 20.0, "minutes_from_sunrise": -600.0}
JUNE: Values = {"calendar_day": 170.0}
DECEMBER: Values = {"calendar_day": 345.0}

#: Rule -> an instant as it wants it, and what each of several others differs in.
DESCRIBED: dict[str, tuple[Values, tuple[Values, ...]]] = {
    # Sea over 9 C, waves 0.5 to 1.5 m and falling, dusk to dawn or a tinged day, first 3 h of flood.
    "bass_surf": (
        {**JUNE, **NIGHT, "hours_from_lw": 1.5, "sea_temperature": 13.0, "clarity": "clear", "flow_index": 0.6,
         "wave_height": 1.0, "sea_trend": "falling"},
        ({"hours_from_lw": 5.0}, {"hours_from_lw": -2.0}, {"sea_temperature": 7.0}, {**NOON, "clarity": "clear"}),
    ),
    # November to March, 4 to 11 C, 24 to 72 h after a blow, colour, dark, run.
    "cod": (
        {**DECEMBER, **NIGHT, "sea_temperature": 8.0, "hours_since_sea_peak": 40.0, "clarity": "coloured",
         "flow_strength": 0.7, "pressure": 1030.0},
        (JUNE, {"sea_temperature": 14.0}, {**NOON, "clarity": "clear"},
         {"hours_since_sea_peak": 200.0, "clarity": "clear"}),
    ),
    # October to January, dusk + 1 to + 4 h.
    "whiting": (
        {"calendar_day": 320.0, "minutes_from_sunset": 120.0, "clarity": "tinge", "wave_height": 0.8},
        (JUNE, {"minutes_from_sunset": 0.0}, {"minutes_from_sunset": 300.0}),
    ),
    # April to September, clear, by day, neap to mid with run.
    "plaice": (
        {**JUNE, **NOON, "range_ratio": 0.6, "flow_strength": 0.6, "clarity": "clear"},
        (DECEMBER, NIGHT, {"clarity": "thick"}),
    ),
    "plaice_late_winter": (
        {**NOON, "calendar_day": 60.0, "range_ratio": 0.6, "flow_strength": 0.6, "clarity": "clear"},
        (DECEMBER, NIGHT, {"clarity": "thick"}),
    ),
    # September to February, first 2 to 3 h of flood.
    "flounder": (
        {**DECEMBER, "hours_from_lw": 1.5, "flow_index": 0.5, "clarity": "coloured"},
        (JUNE, {"hours_from_lw": 4.0}, {"hours_from_lw": -1.0}),
    ),
    # November to March, around LW.
    "dab": ({**DECEMBER, "hours_from_lw": 0.3}, (JUNE, {"hours_from_lw": 3.0})),
    # May to October, over 12 C, dark, waves under 0.5 m.
    "sole": (
        {**JUNE, **NIGHT, "sea_temperature": 15.0, "wave_height": 0.2, "moonlight": 0.7},
        (DECEMBER, NOON, {"sea_temperature": 10.0}, {"wave_height": 1.5}),
    ),
    # May to August, moving water.
    "smooth_hound": ({**JUNE, "flow_strength": 0.8}, (DECEMBER, {"flow_strength": 0.1})),
    # Calm to moderate, easing run into slack, dusk or colour.
    "thornback_ray": (
        {**DUSK, "named_phase": "last_of_the_ebb", "flow_strength": 0.3, "clarity": "clear", "wave_height": 0.5},
        ({"named_phase": "mid_flood"}, {**NOON, "clarity": "clear"}, {"flow_strength": 1.1, "wave_height": 2.5}),
    ),
    # Warm dark nights, slack.
    "conger": (
        {**JUNE, **NIGHT, "flow_strength": 0.1, "air_temperature": 15.0, "moonlight": 0.6},
        (NOON, {"flow_strength": 0.9}, {"calendar_day": 15.0, "air_temperature": 2.0}),
    ),
    # June to September, clear, dawn or dusk, flood to HW.
    "mackerel": (
        {**JUNE, **DUSK, "hours_from_hw": -1.5, "clarity": "clear"},
        (DECEMBER, NIGHT, {**NOON, "hours_from_hw": 3.0}, {"clarity": "thick", "hours_from_hw": 3.0}),
    ),
    # May to October, by day, calm, clear.
    "thick_lipped_mullet": (
        {**JUNE, **NOON, "wind_speed": 2.0, "wave_height": 0.1, "clarity": "clear", "hours_from_hw": -0.5},
        (DECEMBER, NIGHT, {"clarity": "coloured", "wind_speed": 12.0}, {"clarity": "thick", "hours_from_hw": 5.0}),
    ),
    # Over 10 C, by day, clear.
    "ballan_wrasse": (
        {**JUNE, **NOON, "sea_temperature": 14.0, "clarity": "clear", "wave_height": 0.4, "hours_from_hw": -1.0},
        (NIGHT, {"sea_temperature": 8.0}, {"clarity": "thick"}),
    ),
}  # fmt: skip


def score(rule: SpeciesRule, values: Values) -> float:
    known = factors()
    columns = {
        name: np.array([values[name]]) if name in values else known[name].unknown(1) for name in rule.factor_names
    }
    return float(score_columns(rule, columns, flow_reliable=True).score[0])


def test_there_are_fourteen() -> None:
    assert len(RULES) == 14
    assert set(RULES) == set(DESCRIBED)


@pytest.mark.parametrize("name", list(DESCRIBED))
def test_a_rule_is_met_as_described_and_not_otherwise(name: str) -> None:
    rule, (wanted, others) = RULES[name], DESCRIBED[name]
    assert set(rule.factor_names) <= set(wanted)
    assert score(rule, wanted) >= 0.8
    for changed in others:
        assert score(rule, wanted | changed) < rule.threshold, changed


@pytest.mark.parametrize("name", list(DESCRIBED))
def test_a_rule_says_nothing_that_its_author_can_hardly_mean(name: str) -> None:
    assert lint(RULES[name]) == ()
    assert RULES[name].provenance == "common practice"


def test_a_tinged_day_will_do_for_bass_and_a_clear_one_will_not() -> None:
    day = DESCRIBED["bass_surf"][0] | NOON
    assert score(RULES["bass_surf"], day | {"clarity": "tinge"}) >= 0.8
    assert score(RULES["bass_surf"], day | {"clarity": "clear"}) < 0.5


@pytest.mark.parametrize(("name", "factor"), [("cod", "pressure"), ("sole", "moonlight"), ("conger", "moonlight")])
def test_lore_never_counts(name: str, factor: str) -> None:
    wanted = DESCRIBED[name][0]
    found = {score(RULES[name], wanted | {factor: value}) for value in (np.nan, 0.0, 1.0, 990.0, 1040.0)}
    assert len(found) == 1
