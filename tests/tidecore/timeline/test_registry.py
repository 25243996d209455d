from __future__ import annotations

import re

import pytest

from tidecore.errors import UnknownName
from tidecore.timeline import factors, find_factor
from tidecore.timeline.registry import _by_name

TIDE = [
    "height", "rate", "flow_index", "flow_strength", "stream_speed", "flow_reliable", "direction", "tide_phase",
    "hours_from_hw", "hours_from_lw", "minutes_from_slack_after_hw", "minutes_from_slack_after_lw",
    "height_of_hw", "height_of_lw", "fraction", "range", "range_ratio",
    "days_from_springs", "making", "named_phase", "named_phase_basis",
]  # fmt: skip
SKY = [
    "sun_altitude", "light", "minutes_from_sunrise", "minutes_from_sunset", "minutes_from_first_light",
    "minutes_from_last_light", "minutes_from_moonrise", "minutes_from_moonset", "moon_altitude",
    "illuminated_fraction", "moonlight",
]  # fmt: skip
SEASON = ["day_of_year", "calendar_day", "month"]


def test_every_factor_of_this_cut_is_there_in_order() -> None:
    names = list(factors())
    assert names[: len(TIDE + SKY + SEASON)] == TIDE + SKY + SEASON
    assert {"wave_height", "sea_temperature", "wind_speed", "clarity"} < set(names)


def test_what_a_caller_must_give_says_so() -> None:
    for factor in factors().values():
        given = factor.group == "sea_and_air"
        assert factor.provenance.startswith("forecasts and observations from the caller") is given
        # Of the shore some rest on conditions too, and all may be unknown.
        if factor.group != "shore":
            assert (factor.rests_on is not None) is given
            assert (factor.why_unknown is not None) is given


@pytest.mark.parametrize("name", list(factors()))
def test_an_entry_says_what_it_is(name: str) -> None:
    factor = factors()[name]
    assert re.fullmatch(r"[a-z]+(_[a-z]+)*", factor.name)
    assert factor.meaning.endswith(".")
    assert factor.provenance
    assert bool(factor.unit) is (factor.kind == "number")
    assert bool(factor.categories) is (factor.kind == "category")
    assert "" not in factor.categories
    assert factor.period is None or factor.kind == "number"
    unknown = factor.unknown(3)
    assert not factor.known(unknown).any()
    assert unknown.shape == (3,)


def test_an_unknown_name_lists_those_there_are() -> None:
    with pytest.raises(UnknownName, match="hours_from_hw"):
        find_factor("moon_mood")


def test_a_name_given_twice_is_refused() -> None:
    height = find_factor("height")
    with pytest.raises(ValueError, match="height"):
        _by_name((height,), (height,))


def test_the_registry_cannot_be_written_to() -> None:
    with pytest.raises(TypeError):
        factors()["height"] = find_factor("rate")  # type: ignore[index]
