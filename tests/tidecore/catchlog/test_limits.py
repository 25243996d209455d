from __future__ import annotations

import datetime
import zoneinfo

import numpy as np
import pytest

from tests.tidecore.catchlog.trips import BASS, catch
from tidecore.catchlog import Catch, KeptBesides, Regulation, judge_catches, judge_plan, worst
from tidecore.errors import InvalidInput
from tidecore.rules import Species
from tidecore.timebase import TimeSpan

ZONE = zoneinfo.ZoneInfo("Europe/Berlin")
SPECIES = Species.parse(BASS)
SPAN = TimeSpan(np.datetime64("2026-10-10T18:00"), np.datetime64("2026-10-10T21:30"))


def rule(**more):
    plain = {"area": "Invented Bay", "source": "Invented byelaw 3", "dated": "2026-03-01", "species": BASS}
    return Regulation.parse(plain | more)


def kept(cm=50.0, clock="19:00", kind="total", precision=1.0, **more):
    length = None if cm is None else {"cm": cm, "kind": kind, "precision_cm": precision}
    return Catch.parse(catch(clock, fate="kept", length=length, **more))


SIZE = rule(sizes=[{"kind": "total", "min_cm": 42, "max_cm": 60}])


def of(matter, findings):
    return [one for one in findings if one.matter == matter]


@pytest.mark.parametrize(
    ("cm", "precision", "verdict"),
    [
        (40.9, 0.5, "breach"),
        (41.0, 0.5, "within_measuring_error"),
        (42.0, 0.5, "within_measuring_error"),
        (43.0, 0.5, "within_measuring_error"),
        (43.1, 0.5, "in_order"),
        (40.0, 2.0, "within_measuring_error"),
        (58.9, 0.5, "in_order"),
        (59.0, 0.5, "within_measuring_error"),
        (61.1, 0.5, "breach"),
    ],
)
def test_a_size_is_judged_with_its_measuring_error(cm, precision, verdict):
    found = of("size", judge_catches([kept(cm, precision=precision)], [SIZE], ZONE))
    assert [one.verdict for one in found] == [verdict]
    assert found[0].source == "Invented byelaw 3"
    assert found[0].dated == "2026-03-01"


def test_within_the_error_is_treated_as_under():
    found = of("size", judge_catches([kept(42.5)], [SIZE], ZONE))
    assert "treat it as under" in found[0].text


@pytest.mark.parametrize(
    ("one", "word"), [(kept(50.0, kind="fork"), "kinds of length differ"), (kept(None), "no length")]
)
def test_what_differs_in_kind_is_not_compared(one, word):
    found = of("size", judge_catches([one], [SIZE], ZONE))
    assert found[0].verdict == "cannot_compare"
    assert word in found[0].text


def test_no_rule_on_file_is_never_leave_to_keep():
    for file in ([], [rule(species={"scientific_name": "Gadus morhua", "fao_code": "COD"})]):
        found = judge_catches([kept()], file, ZONE)
        assert [one.verdict for one in found] == ["no_rule_on_file"]
        assert "don't assume it may be kept" in found[0].text
    # A rule of size alone says nothing of the bag, and one of the bag nothing of size.
    assert of("bag", judge_catches([kept()], [SIZE], ZONE))[0].verdict == "no_rule_on_file"
    assert of("size", judge_catches([kept()], [rule(bag=2)], ZONE))[0].verdict == "no_rule_on_file"
    # Nor does either of them of the season; one of its rules that names one is enough.
    lone = of("season", judge_catches([kept()], [SIZE, rule(bag=2)], ZONE))
    assert [one.verdict for one in lone] == ["no_rule_on_file"]
    assert "no season on file" in lone[0].text
    open_now = rule(banned=[{"from": "01-01", "to": "02-28"}])
    assert [one.verdict for one in of("season", judge_catches([kept()], [SIZE, open_now], ZONE))] == ["in_order"]
    assert worst(()) == "no_rule_on_file"


def test_every_finding_sends_to_the_authority_and_none_says_legal():
    file = [SIZE, rule(bag=1), rule(release_only=[{"from": "10-01", "to": "12-31"}]), rule(species=None, most_rods=2)]
    found = (*judge_catches([kept(), kept(41.0)], file, ZONE), *judge_plan(SPAN, file, ZONE, species=[SPECIES], rods=3))
    assert len(found) > 5
    for one in found:
        assert one.text.endswith("Check the authority.")
        assert "legal" not in one.text


def test_what_is_returned_is_not_judged():
    assert judge_catches([Catch.parse(catch())], [], ZONE) == ()


@pytest.mark.parametrize(("day", "stale"), [("2027-03-01", False), ("2027-03-02", True), ("2026-10-10", False)])
def test_a_rule_over_a_year_old_is_stale(day, stale):
    assert SIZE.stale_on(datetime.date.fromisoformat(day)) is stale


def test_a_leap_day_is_a_year_old_on_the_last_of_february():
    old = rule(dated="2024-02-29")
    assert not old.stale_on(datetime.date(2025, 2, 28))
    assert old.stale_on(datetime.date(2025, 3, 1))


def test_a_stale_rule_puts_nothing_in_order_and_still_finds_a_breach():
    old = rule(dated="2025-01-01", sizes=[{"kind": "total", "min_cm": 42}])
    good, bad = of("size", judge_catches([kept(50.0), kept(30.0)], [old], ZONE))
    assert (good.verdict, good.stale) == ("stale", True)
    assert (bad.verdict, bad.stale) == ("breach", True)
    assert "over 12 months old" in good.text


def test_a_bag_is_counted_by_angler_and_local_day():
    file = [rule(bag=2)]
    # 21:30 and 22:30 UTC lie on two days there.
    days = [kept(clock=clock) for clock in ("19:00", "20:00", "22:30", "22:40")]
    assert [one.verdict for one in of("bag", judge_catches(days, file, ZONE))] == ["in_order", "in_order"]
    three = [kept(clock=clock) for clock in ("19:00", "20:00", "21:00")]
    found = of("bag", judge_catches(three, file, ZONE))
    assert (found[0].verdict, found[0].catches) == ("breach", (0, 1, 2))
    two = of("bag", judge_catches(three, file, ZONE, anglers=2))[0]
    assert two.verdict == "cannot_compare"
    assert "by 2 anglers, the bag is 2 each" in two.text
    five = of("bag", judge_catches([kept()] * 5, file, ZONE, anglers=2))[0]
    assert five.verdict == "breach"
    unsure = [*three[:2], kept(clock="21:40", precision_min=60)]
    assert of("bag", judge_catches(unsure, file, ZONE))[0].verdict == "cannot_compare"
    with pytest.raises(InvalidInput):
        judge_catches(three, file, ZONE, anglers=0)


def test_other_trips_of_the_day_fill_the_bag_where_its_rule_holds():
    def bag(*besides, anglers=1):
        found = of("bag", judge_catches([kept(), kept()], [rule(bag=2)], ZONE, anglers, besides=besides))
        return found[0]

    there, elsewhere = frozenset({"Invented Bay", "Another"}), frozenset({"Another"})
    full = bag(KeptBesides(kept(), there))
    assert (full.verdict, full.catches) == ("breach", (0, 1))
    assert "3 kept on 2026-10-10, 1 of them on other trips" in full.text
    assert bag(KeptBesides(kept(), there), anglers=2).verdict == "cannot_compare"
    away = bag(KeptBesides(kept(), elsewhere))
    assert away.verdict == "in_order"
    assert "on other trips" not in away.text
    # It may be of the day before.
    assert bag(KeptBesides(kept(clock="22:01"), there)).verdict == "cannot_compare"
    other = {"scientific_name": "Gadus morhua", "fao_code": "COD"}
    for none in (kept(clock="22:30"), Catch.parse(catch()), kept(species=other)):
        assert bag(KeptBesides(none, there)).verdict == "in_order"


def test_what_was_kept_where_no_area_is_stated_is_not_counted():
    def bag(of_rule, *besides):
        return of("bag", judge_catches([kept(), kept()], [rule(bag=of_rule)], ZONE, besides=besides))[0]

    there, unplaced = KeptBesides(kept(), frozenset({"Invented Bay"})), KeptBesides(kept(), None)
    open_ = bag(2, unplaced)
    assert open_.verdict == "cannot_compare"
    assert "2 kept on 2026-10-10, the bag is 2 an angler" in open_.text
    assert "1 on other trips at marks without a stated area is not counted" in open_.text
    assert "2 on other trips at marks without a stated area are not counted" in bag(2, unplaced, unplaced).text
    # With them or without, the answer is the same: nothing is to be said of them.
    assert bag(3, unplaced).verdict == "in_order"
    full = bag(2, there, unplaced, unplaced)
    assert full.verdict == "breach"
    assert "3 kept on 2026-10-10, 1 of them on other trips" in full.text
    for one in (bag(3, unplaced), full):
        assert "stated area" not in one.text


def test_a_rule_from_after_the_day_tells_nothing_of_it():
    later = rule(dated="2026-10-11", sizes=[{"kind": "total", "min_cm": 42}], always_banned=True)
    found = judge_catches([kept(30.0), kept(50.0)], [later], ZONE)
    assert {one.verdict for one in found if one.rule is later} == {"cannot_compare"}
    assert "dated after that day" in of("size", found)[0].text
    assert of("season", judge_plan(SPAN, [later], ZONE, species=[SPECIES]))[0].verdict == "cannot_compare"


@pytest.mark.parametrize(
    ("more", "verdict"),
    [
        ({"always_banned": True}, "breach"),
        ({"banned": [{"from": "10-01", "to": "10-31"}]}, "breach"),
        ({"release_only": [{"from": "10-10", "to": "01-31"}]}, "breach"),
        ({"release_only": [{"from": "10-11", "to": "01-31"}]}, "in_order"),
    ],
)
def test_a_season_forbids_to_keep(more, verdict):
    assert of("season", judge_catches([kept()], [rule(**more)], ZONE))[0].verdict == verdict


def test_a_time_too_unsure_for_the_season_is_not_compared():
    edge = rule(release_only=[{"from": "10-11", "to": "01-31"}])
    found = of("season", judge_catches([kept(clock="21:58")], [edge], ZONE))
    assert found[0].verdict == "cannot_compare"


def test_a_plan_is_held_against_zones_hours_rods_hooks_and_permit():
    area = rule(
        species=None,
        no_fishing=[
            {"zone": "bathing beach", "when": {"hours": {"from": "08:00", "to": "20:00"}}},
            {"zone": "night pier", "when": {"hours": {"from": "20:00", "to": "23:00"}}},
            {"zone": "harbour mouth"},
        ],
        most_rods=2,
        most_hooks=4,
        permit="bay permit",
    )
    found = judge_plan(SPAN, [area], ZONE, rods=3, hooks=4, permits=[])
    # 18:00Z is 20:00 there: the bathing hours are just over.
    assert [one.verdict for one in of("hours", found)] == ["in_order", "breach", "breach"]
    assert [one.verdict for one in of("rods", found)] == ["breach"]
    assert [one.verdict for one in of("hooks", found)] == ["in_order"]
    assert [one.verdict for one in of("permit", found)] == ["breach"]
    untold = judge_plan(SPAN, [area], ZONE)
    assert {one.verdict for one in untold if one.matter in ("rods", "hooks", "permit")} == {"cannot_compare"}
    assert of("permit", judge_plan(SPAN, [area], ZONE, permits=["bay permit"]))[0].verdict == "in_order"


def test_what_is_said_of_gathering_is_quoted_for_a_plan_to_gather():
    area = rule(species=None, gathering="No digging above the wall.")
    found = of("gathering", judge_plan(SPAN, [area], ZONE, gathering=True))
    assert [(one.verdict, one.rule) for one in found] == [("cannot_compare", area)]
    assert found[0].text.startswith("Gathering: No digging above the wall. By Invented byelaw 3")
    assert of("gathering", judge_plan(SPAN, [area], ZONE)) == []
    assert [one.verdict for one in of("gathering", judge_plan(SPAN, [], ZONE, gathering=True))] == ["no_rule_on_file"]


def test_a_plan_hears_of_seasons_and_of_what_is_not_on_file():
    cases = {
        "breach": [rule(banned=[{"from": "10-01", "to": "10-31"}])],
        "release_only": [rule(release_only=[{"from": "10-01", "to": "10-31"}])],
        "in_order": [rule(release_only=[{"from": "01-01", "to": "01-31"}])],
        "no_rule_on_file": [SIZE],
    }
    for verdict, file in cases.items():
        found = judge_plan(SPAN, file, ZONE, species=[SPECIES])
        assert [one.verdict for one in of("season", found)] == [verdict]
        assert of("hours", found)[0].verdict == "no_rule_on_file"
    assert of("species", judge_plan(SPAN, [], ZONE, species=[SPECIES]))[0].verdict == "no_rule_on_file"


def test_faults_of_a_rule_come_at_once():
    with pytest.raises(InvalidInput) as caught:
        rule(
            species=None,
            source="",
            dated="last year",
            sizes=[{"kind": "total", "min_cm": 50, "max_cm": 40}],
            bag=2,
            banned=[{"from": "02-30", "to": "03-01"}],
        )
    found = {fault.field for fault in caught.value.faults}
    assert found == {"source", "dated", "sizes.0.max_cm", "bag", "banned.0.from"}
    for sizes in ([{"kind": "total"}], [{"kind": "fork", "min_cm": 1}, {"kind": "fork", "min_cm": 2}]):
        with pytest.raises(InvalidInput):
            rule(sizes=sizes)
