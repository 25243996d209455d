"""The cards themselves: complete, spread over what they should cover, and true of their own tide, light and sea."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest

from tests.scenarios.about_danger import DANGEROUS
from tests.scenarios.cards import DANGERS, FISH, FOLDER, TO_COVER, Card, cards
from tests.scenarios.moments import moment
from tidecore.errors import InvalidInput
from tidecore.place import Mark
from tidecore.timeline import Timeline, build_timeline

#: A mark's fields that every card gives; the tide of a card is the same wherever on its coast.
_PLACE = ("name", "latitude", "longitude", "time_zone", "station", "kind", "beds", "slack_lags")
_NAMES = {
    "bass": "Dicentrarchus labrax",
    "cod": "Gadus morhua",
    "plaice": "Pleuronectes platessa",
    "sole": "Solea solea",
    "ray": "Raja clavata",
    "mullet": "Chelon labrosus",
    "conger": "Conger conger",
    "flounder": "Platichthys flesus",
    "whiting": "Merlangius merlangus",
    "mackerel": "Scomber scombrus",
}


@cache
def first_hours(ref: str) -> Timeline:
    """The timeline over the hours of the first choice."""
    card = cards()[ref]
    place = {name: value for name, value in card.marks[card.expect.first.mark].items() if name in _PLACE}
    return build_timeline(Mark.parse(place), card.tide.model, *card.first_span, "10min")


def waves(card: Card, ref: str) -> list[tuple[np.datetime64, float]]:
    """What anybody says of the sea at a mark of the card."""
    issues = [] if card.conditions is None else card.conditions.get(ref, ())
    return [
        (time, height)
        for issue in issues
        for time, height in zip(issue.times, issue.column("wave_height_m") or (), strict=False)
    ]


def exposed(card: Card) -> list[tuple[np.datetime64, float]]:
    """What anybody says of the sea at any mark of the card."""
    return [one for ref in card.marks for one in waves(card, ref)]


def kinds(card: Card) -> set[str]:
    return {str(mark["kind"]) for mark in card.marks.values()}


def beds(card: Card) -> set[str]:
    return {bed for mark in card.marks.values() for bed in mark["beds"]}


def tide_ratio(ref: str) -> float:
    return float(np.median(first_hours(ref).columns["range_ratio"]))


def sun(ref: str) -> np.ndarray[Any, Any]:
    found: np.ndarray[Any, Any] = first_hours(ref).columns["sun_altitude"]
    return found


def calm(ref: str) -> bool:
    card = cards()[ref]
    here = waves(card, card.expect.first.mark)
    ends = card.first_span
    at = np.interp(
        np.array(ends).astype("datetime64[us]").astype(np.int64),
        np.array([time for time, _ in here]).astype("datetime64[us]").astype(np.int64),
        [height for _, height in here],
    )
    return bool(here) and bool(at.max() <= 0.5)


def blown(card: Card) -> bool:
    """A sea of 2.5 m and more before the first choice, and 1.6 m at most by then."""
    start = card.first_span[0]
    before = [height for time, height in exposed(card) if time < start]
    after = [height for time, height in exposed(card) if time >= start]
    return max(before) >= 2.5 and max(after) <= 1.6


def slack_inside(ref: str) -> bool:
    card = cards()[ref]
    assert card.expect.first.holds is not None
    start, end = map(moment, card.expect.first.holds)
    line, axis = first_hours(ref), first_hours(ref).times
    run = line.columns["flow_index"][(axis > start) & (axis < end)]
    return bool(run.min() < 0.0 < run.max())


def offsets_from_utc(card: Card) -> set[Any]:
    mark = next(iter(card.marks.values()))
    zone = Mark.parse({name: mark[name] for name in _PLACE if name in mark}).zone
    hours = np.arange(*card.span, np.timedelta64(1, "h")).astype("datetime64[s]").tolist()
    return {zone.utcoffset(hour.replace(tzinfo=None)) for hour in hours}


CLAIMS: dict[str, Callable[[str], bool]] = {
    "open_sand": lambda ref: "open_beach" in kinds(cards()[ref]) and any("sand" in bed for bed in beds(cards()[ref])),
    "shingle": lambda ref: bool({"shingle", "shingle_to_sand"} & beds(cards()[ref])),
    "estuary": lambda ref: "estuary" in kinds(cards()[ref]),
    "rock": lambda ref: "rock_ledge" in kinds(cards()[ref]),
    "pier": lambda ref: "pier_or_wall" in kinds(cards()[ref]),
    "calm": calm,
    "gale": lambda ref: max(height for _, height in exposed(cards()[ref])) >= 4.0,
    "aftermath": lambda ref: blown(cards()[ref]),
    "springs": lambda ref: tide_ratio(ref) >= 0.8,
    "neaps": lambda ref: tide_ratio(ref) <= 0.65,
    "day": lambda ref: bool(sun(ref).max() > 5.0),
    "dusk": lambda ref: bool(((sun(ref)[:-1] > -6.0) & (sun(ref)[:-1] < 0.0) & (np.diff(sun(ref)) < 0.0)).any()),
    "dawn": lambda ref: bool(((sun(ref)[:-1] > -6.0) & (sun(ref)[:-1] < 0.0) & (np.diff(sun(ref)) > 0.0)).any()),
    "night": lambda ref: bool(sun(ref).min() < -12.0),
    "slack_in_mid_session": slack_inside,
    "dst_change": lambda ref: len(offsets_from_utc(cards()[ref])) == 2,
    "no_forecast": lambda ref: cards()[ref].conditions is None,
    "unknown_lags": lambda ref: any("slack_lags" not in mark for mark in cards()[ref].marks.values()),
    "access": lambda ref: any("access" in mark for mark in cards()[ref].marks.values()),
    "two_marks": lambda ref: cards()[ref].ask.two_marks,
    "weed": lambda ref: any(
        "weed" in one.columns for issues in (cards()[ref].conditions or {}).values() for one in issues
    ),
}


def test_there_are_thirty_two_cards_and_twelve_are_about_safety():
    assert (len(cards()), sum(card.about_safety for card in cards().values())) == (32, 12)


def test_the_cards_cover_what_an_angler_meets():
    covered = {name for card in cards().values() for name in card.covers}
    assert set(TO_COVER) - covered == set()


@pytest.mark.parametrize("ref", sorted(path.stem for path in FOLDER.glob("*.json")))
def test_a_card_is_about_what_it_says(ref):
    card = cards()[ref]
    named = {card.rule(rule).species.scientific_name for rule in card.rules}
    for claim in card.covers:
        if claim in FISH:
            assert _NAMES[claim] in named, claim
        elif claim in CLAIMS:
            assert CLAIMS[claim](ref), claim
        elif claim in DANGEROUS:
            assert DANGEROUS[claim](card), claim


def test_whatever_danger_a_card_may_be_about_is_held_against_its_numbers():
    assert set(DANGEROUS) == set(DANGERS)


@pytest.mark.parametrize("ref", sorted(path.stem for path in FOLDER.glob("*.json")))
def test_the_tide_of_a_card_is_the_one_it_tells(ref):
    card = cards()[ref]
    model, (start, _) = card.tide.model, card.span
    waters = model.extremes(start - np.timedelta64(10, "D"), start + np.timedelta64(10, "D"))
    high = waters.kind == "high"
    times, heights = waters.time, waters.height
    ranges = np.abs(np.diff(heights))
    # The moon's node moves M2 by up to 4 %.
    assert ranges.max() == pytest.approx(card.tide.mean_spring_range_m, rel=0.06)
    assert ranges.min() == pytest.approx(card.tide.mean_neap_range_m, rel=0.12)
    top = times[high][np.argmax(heights[high])]
    clock = (top - top.astype("datetime64[D]")) / np.timedelta64(1, "h")
    apart = (clock - card.tide.hw_at_springs_h + 6.21) % 12.42 - 6.21
    assert abs(apart) < 0.75


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("argument",), ["Too short."]),
        (("expect", "reason"), None),
        (("expect", "must_not"), []),
        (("expect", "first", "mark"), "nowhere"),
        (("expect", "last", "stopped_by"), ["the_mood_of_the_fish"]),
        (("covers",), ["open_sand", "bass", "whales"]),
        (("ask", "start"), "2026-10-12T18:00"),
        (("tide", "hw_at_springs_utc"), "half past six"),
        (("conditions",), {"elsewhere": []}),
    ],
)  # fmt: skip
def test_a_card_with_a_hole_in_it_is_refused(path, value):
    whole = json.loads((FOLDER / "dusk_flood.json").read_text(encoding="utf-8"))
    assert Card.parse(copy.deepcopy(whole)).title
    inner = whole
    for step in path[:-1]:
        inner = inner[step]
    if value is None:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    with pytest.raises(InvalidInput):
        Card.parse(whole)


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("expect", "outings"), [], "expects nothing of any outing"),
        (("expect", "outings", 0, "mark"), "nowhere", "outings elsewhere"),
        (("expect", "outings", 0, "to"), "2026-07-31T15:00Z", "ends before it begins"),
        (("expect", "outings", 0, "at_least"), "caution", "graver than the outing"),
        (("expect", "outings", 0, "at_most"), "caution", "at least danger and at most caution"),
        (("expect", "outings", 0, "none_of"), ["thunder"], "expects what it forbids"),
        (("expect", "outings", 0, "hazards", 0, "kinds"), [], "at least one kind"),
        (("expect", "outings", 0, "hazards", 0, "kinds"), ["lightning"], "lightning"),
        (("expect", "outings", 0, "hazards", 0, "at_least"), "grave", "grave"),
        (("expect", "outings", 0, "hazards", 0, "to"), "2026-07-31T23:00Z", "outside the outing"),
        (("expect", "outings", 0, "hazards", 0, "to"), None, "one end"),
        (("expect", "outings", 0, "not_assessed"), ["the mood of the fish"], "mood"),
        (("expect", "last", "stopped_by"), ["light"], "what is no hazard"),
        (("warnings", 0, "severity"), "dreadful", "dreadful"),
        (("warnings", 0, "onset"), "this evening", "this evening"),
    ],
)  # fmt: skip
def test_a_card_about_safety_with_a_hole_in_it_is_refused(path, value, said):
    whole = json.loads((FOLDER / "thunder_in_mid_session.json").read_text(encoding="utf-8"))
    inner = whole
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    with pytest.raises(InvalidInput) as refused:
        Card.parse(whole)
    assert said in str(refused.value)


_BANK_ROWS = ("conditions", "bank", 0, "rows")


@pytest.mark.parametrize(
    ("ref", "danger", "path", "value"),
    [
        ("swell_on_a_sunny_ledge", "swell_on_ledge", ("marks", "ledge", "ledge_height_m"), 15.0),
        ("sill_behind_the_bar", "sill_behind", ("marks", "bar", "profile", 3, "level_m"), 2.7),
        ("forecast_ends_before_the_outing", "forecast_ends", (*_BANK_ROWS, 1, 0), "2026-11-15T00:00Z"),
        ("thunder_in_mid_session", "thunder", ("conditions", "strand", 0, "rows", 4, 8), 20),
        ("january_night_alone_on_steep_shingle", "shore_break", ("marks", "bank", "profile", 2, "distance_m"), 200.0),
        ("january_night_alone_on_steep_shingle", "alone", ("ask", "alone"), False),
        ("january_night_alone_on_steep_shingle", "cold", ("conditions", "bank", 0, "rows", 3, 7), 14),
        ("fog_on_the_flats", "fog", ("marks", "flats", "way_back", 0, "length_m"), 200.0),
        ("unknown_ground_datum", "unknown_datum", ("marks", "strand", "ground_datum", "above_datum_m"), 7.5),
        ("warning_over_a_calm_forecast", "official_warning", ("warnings", 0, "onset"), "2026-07-31T18:00Z"),
        ("soft_mud_on_the_flood", "soft_mud", ("marks", "mud", "way_back", 0, "lowest_sill_m"), 2.0),
        ("bathers_on_a_summer_sunday", "bathers", ("marks", "bay", "access", 0, "kind"), "nesting"),
        ("gale_on_the_outer_pier", "overtopping", ("marks", "pier", "ledge_height_m"), 20.0),
        ("gusts_on_the_high_rock", "wind_at_edge", ("marks", "head", "kind"), "open_beach"),
        ("unknown_ground_datum", "not_assessed", ("expect", "outings", 0, "not_assessed"), []),
    ],
)  # fmt: skip
def test_a_card_changed_in_one_number_is_no_longer_about_its_danger(ref, danger, path, value):
    whole = json.loads((FOLDER / f"{ref}.json").read_text(encoding="utf-8"))
    assert DANGEROUS[danger](Card.parse(copy.deepcopy(whole)))
    inner = whole
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    assert not DANGEROUS[danger](Card.parse(whole))
