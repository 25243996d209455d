from __future__ import annotations

import json
import math

import pytest

from tests.house.tree import ROOT
from tests.tidecore.catchlog.trips import BASS
from tidecore.catchlog import Length, LengthWeight, estimate_weight, longest_cm, reach_remark, same_species
from tidecore.errors import InvalidInput
from tidecore.rules import Species


def relation(**more):
    plain = {"species": BASS, "a": 0.012, "b": 2.95, "length_kind": "total", "source": "an invented survey, 2020"}
    return LengthWeight.parse(plain | more)


def test_a_weight_goes_with_a_length_by_the_coefficients_given():
    found = estimate_weight(Length.parse({"cm": 50, "kind": "total", "precision_cm": 1}), relation(a=0.01, b=3))
    assert found.grams == pytest.approx(1250.0)
    assert [found.low_grams, found.high_grams] == pytest.approx([0.01 * 49**3, 0.01 * 51**3])
    assert found.source == "an invented survey, 2020"
    # ln W is a straight line of ln L, of slope b.
    short, long = (estimate_weight(Length(cm=cm, kind="total"), relation()).grams for cm in (20.0, 40.0))
    assert math.log(long / short) / math.log(2.0) == pytest.approx(2.95)


@pytest.mark.parametrize(
    ("length", "more", "why"),
    [
        ({"cm": 50, "kind": "fork"}, {}, "the length is fork"),
        ({"cm": 8, "kind": "total"}, {"from_cm": 10}, "under the 10 cm"),
        ({"cm": 90, "kind": "total"}, {"to_cm": 80}, "over the 80 cm"),
    ],
)
def test_what_cannot_be_worked_out_is_unknown_with_the_reason(length, more, why):
    found = estimate_weight(Length.parse(length), relation(**more))
    assert math.isnan(found.grams)
    assert why in found.why_unknown


def test_a_relation_says_who_found_it():
    with pytest.raises(InvalidInput, match=r"source: is missing"):
        LengthWeight.parse({"species": BASS, "a": 0.01, "b": 3.0, "length_kind": "total"})


def test_species_are_told_by_code_and_else_by_name():
    coded, named = Species.parse(BASS), Species.parse({"scientific_name": "dicentrarchus Labrax"})
    other = Species.parse({"scientific_name": "Dicentrarchus labrax", "fao_code": "SPU"})
    assert same_species(coded, named)
    assert not same_species(coded, other)
    assert longest_cm(named) == longest_cm(coded) == longest_cm(other) < 150.0
    assert longest_cm(Species.parse({"scientific_name": "Invented fish"})) == 600.0


def test_a_guessed_reach_is_told_to_run_long_and_not_changed():
    found = reach_remark(78.0, "guessed")
    assert found.metres == 78.0
    assert list(found.likely_m) == pytest.approx([60.0, 65.0])
    assert "guesses run 20 to 30 % long (common practice)" in found.text
    assert reach_remark(78.0, "paced").likely_m == (78.0, 78.0)
    with pytest.raises(InvalidInput):
        reach_remark(math.nan, "guessed")


def test_every_species_of_the_demo_coast_has_a_longest_length():
    rules = sorted((ROOT / "demo_stations" / "rules").glob("*.json"))
    assert len(rules) >= 14
    for path in rules:
        species = Species.parse(json.loads(path.read_text("utf-8"))["species"])
        assert longest_cm(species) < 400.0, species
        if species.fao_code is not None:
            assert longest_cm(species) == longest_cm(Species(scientific_name="Any", fao_code=species.fao_code))
