from __future__ import annotations

import json
import math

import pytest

from tests.house.tree import ROOT
from tests.tidecore.catchlog.trips import BASS, catch
from tidecore.catchlog import Catch, Length, LengthWeight, estimate_weight, longest_cm, reach_remark, same_species
from tidecore.catchlog.sizes import _LONGEST
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


#: Least sizes [cm] that a published rule lets leisure anglers keep: France, arrêté of 26 October 2012, annex I, for the
#: North Sea, the Channel and the Atlantic. They lie near the size of first breeding, so adults grow well beyond them.
LEAST_KEPT_CM = {
    "BSS": 42.0, "COD": 42.0, "COE": 60.0, "DAB": 20.0, "FLE": 20.0, "MAC": 30.0, "MLR": 30.0, "PLE": 27.0, "SOL": 24.0,
    "WHG": 27.0,
}  # fmt: skip


def test_the_longest_fish_of_each_species_is_well_over_the_least_that_may_be_kept():
    longest = {code: cm for code, _, cm in _LONGEST}
    assert LEAST_KEPT_CM.keys() <= longest.keys()
    assert {code: cm for code, cm in LEAST_KEPT_CM.items() if longest[code] < 1.5 * cm} == {}
    # Flatfish from the smallest on, and the giant of the shore; common knowledge.
    assert longest["DAB"] < longest["FLE"] < longest["SOL"] < longest["PLE"] < longest["COD"]
    assert max(longest, key=longest.__getitem__) == "COE"


@pytest.mark.parametrize(("code", "name", "known_cm"), _LONGEST)
def test_a_fish_is_believed_to_a_quarter_over_the_longest_known_and_no_further(code, name, known_cm):
    def caught(cm):
        return catch(species={"scientific_name": name, "fao_code": code}, length={"cm": cm, "kind": "total"})

    limit = 1.25 * known_cm
    assert Catch.parse(caught(limit)).length == Length(cm=limit, kind="total")
    with pytest.raises(InvalidInput, match=rf"length\.cm: is .*, of {name}.*a quarter over the longest known"):
        Catch.parse(caught(limit + 0.1))
