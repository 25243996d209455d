"""Every outing of the cards about safety assessed: what endangers it is found, and what does not is not told."""

from __future__ import annotations

import pytest

from tests.scenarios.cards import Card, cards
from tests.scenarios.danger import HAZARD_KINDS
from tests.scenarios.outings import ENGINE_KINDS, UNASSESSED, WEIGHTS, is_found, of_kinds, report_of, told
from tidecore.safety import DEFERS, WEIGHT

OUTINGS = [
    pytest.param(card, outing, id=f"{ref}-{outing.mark}-{outing.from_[11:16]}")
    for ref, card in sorted(cards().items())
    for outing in card.expect.outings
]


@pytest.mark.parametrize(("card", "outing"), OUTINGS)
def test_an_outing_is_graded_as_an_old_hand_would(card, outing):
    report = report_of(card, outing)
    assert WEIGHTS[outing.at_least] <= WEIGHT[report.grade] <= WEIGHTS[outing.at_most], told(report)


@pytest.mark.parametrize(("card", "outing"), OUTINGS)
def test_what_endangers_an_outing_is_found_for_as_long_as_it_does(card, outing):
    report = report_of(card, outing)
    for expected in outing.hazards:
        assert is_found(report, expected), (expected, told(report))


@pytest.mark.parametrize(("card", "outing"), OUTINGS)
def test_nobody_cries_wolf(card, outing):
    report = report_of(card, outing)
    wolves = [one for one in of_kinds(report, outing.none_of) if one.grade in ("caution", "danger")]
    assert not wolves, told(report)


@pytest.mark.parametrize(("card", "outing"), OUTINGS)
def test_what_nobody_assessed_is_named(card, outing):
    report = report_of(card, outing)
    for what in outing.not_assessed:
        assert set(UNASSESSED[what]) & set(report.not_assessed), (what, report.not_assessed)


@pytest.mark.parametrize(("card", "outing"), OUTINGS)
def test_no_outing_is_called_safe_and_all_defer_to_who_is_in_charge(card, outing):
    report = report_of(card, outing)
    words = " ".join(report.sentences).lower().split()
    assert not {"safe", "safely"} & {word.strip(".,:;") for word in words}, report.sentences
    assert report.sentences[-1] == DEFERS


def test_every_kind_of_a_card_has_its_name_in_the_engine():
    assert set(ENGINE_KINDS) == set(HAZARD_KINDS)


#: Inputs that a danger rests on: card, mark of its outing, what is left out, and the kind that is not assessed then.
DROPPED = [
    ("swell_on_a_sunny_ledge", "ledge", "wave_height_m", "sea"),
    ("swell_on_a_sunny_ledge", "ledge", "wave_period_s", "waves_on_rock"),
    ("sill_behind_the_bar", "bar", "ground_datum", "cut_off"),
    ("sill_behind_the_bar", "bar", "way_back", "cut_off"),
    ("thunder_in_mid_session", "strand", "thunder_probability_percent", "thunder"),
    ("january_night_alone_on_steep_shingle", "bank", "wave_height_m", "sea"),
    ("january_night_alone_on_steep_shingle", "bank", "wave_period_s", "shore_break"),
    ("january_night_alone_on_steep_shingle", "bank", "sea_temperature_c", "cold_water"),
    ("january_night_alone_on_steep_shingle", "bank", "alone", "alone"),
    ("fog_on_the_flats", "flats", "visibility_m", "visibility"),
    ("fog_on_the_flats", "flats", "way_back", "visibility"),
    ("fog_on_the_flats", "flats", "visibility_m way_back", "visibility"),
    ("swell_on_a_sunny_ledge", "ledge", "wave_height_m wave_period_s", "sea"),
    ("soft_mud_on_the_flood", "mud", "way_back", "cut_off"),
    ("soft_mud_on_the_flood", "mud", "ground_datum", "cut_off"),
    ("warning_over_a_calm_forecast", "pier", "warnings", "official_warning"),
]


def without(card: Card, mark: str, name: str) -> Card:
    """The card with one thing unknown."""
    document = card.model_dump(mode="json", by_alias=True, exclude_unset=True)
    if name in document["ask"]:
        del document["ask"][name]
    elif name in document:
        del document[name]
    elif name in document["marks"][mark]:
        del document["marks"][mark][name]
    else:
        for issue in document["conditions"][mark]:
            k = issue["columns"].index(name)
            del issue["columns"][k]
            for row in issue["rows"]:
                del row[k]
            if name == "wave_period_s":
                del issue["wave_period_kind"]
    return Card.parse(document)


@pytest.mark.parametrize(("ref", "mark", "name", "kind"), DROPPED)
def test_what_is_left_out_makes_no_danger_smaller_than_a_caution(ref, mark, name, kind):
    card = cards()[ref]
    outing = next(one for one in card.expect.outings if one.mark == mark)
    lacking = card
    for one in name.split():
        lacking = without(lacking, mark, one)
    after = report_of(lacking, outing)
    assert after.weight >= WEIGHT["caution"], told(after)
    assert kind in after.not_assessed, told(after)
