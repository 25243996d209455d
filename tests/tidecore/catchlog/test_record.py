from __future__ import annotations

import copy
import json
import pickle

import pytest

from tests.tidecore.catchlog.trips import BASS, at, cast, catch, deployment, record
from tidecore.catchlog import Catch, Correction, TripRecord, corrected
from tidecore.errors import InvalidInput


def faults_of(plain: object) -> dict[str, str]:
    with pytest.raises(InvalidInput) as caught:
        TripRecord.parse(plain)
    return {fault.field: f"{fault.problem}; {fault.expected}" for fault in caught.value.faults}


def whole():
    return record(
        trip={"purpose": "match", "drawn_peg": "14", "target": [BASS], "slack_seen": [at("19:10")]},
        deployments=[
            deployment(
                "a",
                casts=[cast("18:05", "18:25", bait_back="crabbed"), cast("18:25", "19:00")],
                reach={"metres": 60, "known": "guessed"},
                changes=[{"at": at("18:25"), "what": "range"}],
                line="held",
                snags=1,
            ),
            deployment("b", rod="far"),
            deployment("c", start="20:00", end="20:30"),
        ],
        bites=[{"at": at("18:20"), "deployment": "a", "kind": "rattle", "outcome": "missed"}],
        catches=[
            catch(
                deployment="a",
                length={"cm": 44, "kind": "total", "precision_cm": 0.5},
                weight={"grams": 900, "how": "estimated"},
                hook_position="lip",
                condition="alive",
            )
        ],
    )  # fmt: skip


def test_a_record_survives_json_and_pickling():
    found = TripRecord.parse(whole())
    assert TripRecord.parse(json.loads(json.dumps(found.to_document()))) == found
    assert pickle.loads(pickle.dumps(found)) == found
    assert found.to_document()["deployments"][0]["casts"][0]["in"] == at("18:25")


@pytest.mark.parametrize(
    "plain",
    [
        record(trip={"outcome": "blank"}, deployments=[deployment()]),
        record(trip={"outcome": "not_fished", "why_not": "weed", "end": None}),
        record(trip={"end": None}, catches=[catch("23:00")]),
        record(deployments=[deployment()], catches=[catch("20:04", deployment="a")]),
        record(deployments=[deployment()], catches=[catch("20:55", deployment="a", precision_min=60)]),
        record(trip={"time_precision_min": 60}, deployments=[deployment(end="21:50")]),
    ],
)  # fmt: skip
def test_what_is_in_order_is_taken(plain):
    assert TripRecord.parse(plain)


def test_every_fault_comes_at_once():
    felt = {"metres": -1, "known": "felt"}
    found = faults_of(
        record(
            trip={"end": at("17:00"), "drawn_peg": "3", "party": 0, "why_not": "surf"},
            deployments=[
                deployment("a", end="17:00"),
                deployment("b", casts=[cast("18:30", "18:20"), cast("18:40", "18:50")]),
                deployment("c", casts=[cast("17:30", "18:10"), cast("18:05", "20:30")], reach=felt),
            ],
            bites=[{"at": "soon", "kind": "nibble", "outcome": "missed"}],
            catches=[
                catch(length={"cm": 400, "kind": "total"}),
                catch(species={"scientific_name": "Gadus morhua", "fao_code": "cod"}, fate="eaten", precision_min=10),
            ],
        )
    )  # fmt: skip
    assert set(found) == {
        "trip.end", "trip.drawn_peg", "trip.party", "trip.why_not",
        "deployments.0.end", "deployments.1.casts.0.in", "deployments.2.casts.1.out",
        "deployments.2.reach.metres", "deployments.2.reach.known",
        "bites.0.at", "bites.0.kind",
        "catches.0.length.cm", "catches.1.species.fao_code", "catches.1.fate", "catches.1.precision_min",
    }  # fmt: skip
    assert "400, of Dicentrarchus labrax" in found["catches.0.length.cm"]


def test_rods_places_and_times_are_held_against_each_other_at_once():
    found = faults_of(
        record(
            deployments=[
                deployment("a"),
                deployment("a", start="19:30", end="20:30"),
                deployment("d", rod="far", start="19:00", end="22:00"),
            ],
            bites=[{"at": at("18:20"), "deployment": "z", "kind": "knock", "outcome": "missed"}],
            catches=[catch("22:00"), catch("23:00")],
        )
    )
    assert set(found) == {
        "deployments.1.ref",
        "deployments.1.start",
        "deployments.2.end",
        "catches.0.at",
        "catches.1.at",
    }
    assert "in use by deployments.0" in found["deployments.1.start"]
    found = faults_of(
        record(
            deployments=[deployment("a")],
            bites=[{"at": at("18:20"), "deployment": "z", "kind": "knock", "outcome": "missed"}],
            catches=[catch("20:06", deployment="a"), catch("19:00", deployment="b")],
        )
    )
    assert set(found) == {"bites.0.deployment", "catches.0.at", "catches.1.deployment"}


def test_a_cast_lies_within_its_deployment():
    found = faults_of(record(deployments=[deployment(casts=[cast("17:50", "18:10"), cast("19:50", "20:10")])]))
    assert set(found) == {"deployments.0.casts.0.out", "deployments.0.casts.1.in"}


@pytest.mark.parametrize("shape", ["bss", "BS", "BSSX", "B1S", 7])
def test_a_code_that_is_none_is_refused(shape):
    assert "catches.0.species.fao_code" in faults_of(record(catches=[catch(species={**BASS, "fao_code": shape})]))


def test_an_outcome_fits_what_was_done():
    assert set(faults_of(record(trip={"outcome": "blank"}, catches=[catch()]))) == {"catches"}
    nothing = {"outcome": "not_fished", "why_not": "surf"}
    assert set(faults_of(record(trip=nothing, deployments=[deployment()], catches=[catch()]))) == {
        "deployments",
        "catches",
    }
    assert set(faults_of(record(trip={"outcome": "not_fished"}))) == {"trip.why_not"}


@pytest.mark.parametrize(
    ("times", "wrong"),
    [
        # A long one is seen behind a short one, and each behind the one before it.
        ([("18:00", "20:30"), ("18:10", "18:20"), ("20:00", "20:40")], [1, 2]),
        ([("18:00", "19:00"), ("18:30", "20:00"), ("19:30", "20:30"), ("20:30", "20:40")], [1, 2]),
        ([("20:00", "20:40"), ("18:00", "20:00"), ("20:40", "20:50")], []),
    ],
)
def test_deployments_of_one_rod_are_one_after_the_other(times, wrong):
    rows = [deployment(str(place), start=start, end=end) for place, (start, end) in enumerate(times)]
    if wrong:
        assert set(faults_of(record(deployments=rows))) == {f"deployments.{place}.start" for place in wrong}
    else:
        assert len(TripRecord.parse(record(deployments=rows)).deployments) == len(rows)


def test_a_correction_keeps_the_original():
    plain = TripRecord.parse(whole()).to_document()
    before = copy.deepcopy(plain)
    change = {
        "path": "catches.0.length.cm",
        "was": 44.0,
        "now": 41.5,
        "at": at("09:00", "2026-10-12"),
        "why": "tape read again",
    }
    first = Correction.parse(change)
    second = Correction.parse({**change, "was": 41.5, "now": 41.0})
    made = corrected(plain, [first, second])
    assert plain == before
    assert made["catches"][0]["length"]["cm"] == 41.0
    assert TripRecord.parse(made).to_document() == made


def test_a_correction_of_what_is_not_there_is_refused():
    plain = TripRecord.parse(whole()).to_document()
    after_last = f"catches.{len(plain['catches'])}.length.cm"
    wrong = [("catches.0.length.cm", 50.0), (after_last, 1), ("catches.0.colour", 1), ("trip.mark.name", 1)]
    moment = at("09:00", "2026-10-12")
    with pytest.raises(InvalidInput) as caught:
        corrected(plain, [Correction.parse({"path": path, "was": was, "now": 1, "at": moment}) for path, was in wrong])
    assert [fault.field for fault in caught.value.faults] == ["0.was", "1.path", "2.path", "3.path"]


@pytest.mark.parametrize(
    ("path", "was", "now", "fields"),
    [
        ("trip.party", True, 2, ["0.was"]),
        ("trip.party", 1.0, 2, []),
        ("trip.party", 1, True, []),
        ("deployments.0.snags", True, 0, ["0.was"]),
        ("catches.0.length.cm", 44, 45, []),
        ("catches.0.length.cm", 44, 44, ["0.now"]),
        ("catches.0.length.cm", 44, 44.0, ["0.now"]),
        ("trip.slack_seen", [at("19:10")], [], []),
        ("catches.0.weight", {"grams": True, "how": "estimated"}, None, ["0.was"]),
        ("catches.0.weight", {"how": "estimated", "grams": 900}, {"grams": 900.0, "how": "estimated"}, ["0.now"]),
    ],
)  # fmt: skip
def test_a_correction_says_what_stands_there_and_another_value(path, was, now, fields):
    plain = TripRecord.parse(whole()).to_document()
    one = Correction.parse({"path": path, "was": was, "now": now, "at": at("09:00", "2026-10-12")})
    if not fields:
        assert json.dumps(corrected(plain, [one])) != json.dumps(plain)
        return
    with pytest.raises(InvalidInput) as caught:
        corrected(plain, [one])
    assert [fault.field for fault in caught.value.faults] == fields


def test_what_has_no_ref_is_given_the_first_that_is_free():
    found = TripRecord.parse(
        record(
            deployments=[deployment("", end="19:00"), deployment("d1", start="19:00"), deployment("", rod="far")],
            catches=[catch(deployment="d2"), catch(ref="c1")],
        )
    )
    assert [one.ref for one in found.deployments] == ["d2", "d1", "d3"]
    assert [one.ref for one in found.catches] == ["c2", "c1"]
    assert TripRecord.parse(found.to_document()) == found
    assert [one.ref for one in TripRecord.parse(record(catches=[catch(), catch()])).catches] == ["c1", "c2"]


@pytest.mark.parametrize(("clock", "fits"), [("21:30", True), ("21:31", False), ("17:00", True), ("16:59", False)])
def test_a_catch_may_lie_off_its_trip_by_what_is_unsure_of_both_times(clock, fits):
    unsure = record(trip={"time_precision_min": 15}, catches=[catch(clock, precision_min=15)])
    if fits:
        assert TripRecord.parse(unsure).catches[0].precision_min == 15
    else:
        assert set(faults_of(unsure)) == {"catches.0.at"}


@pytest.mark.parametrize("ref", ["a/b", "..", " ", "a\nb"])
def test_a_ref_is_fit_for_a_path_and_there_once(ref):
    assert set(faults_of(record(deployments=[deployment(ref)]))) == {"deployments.0.ref"}
    twice = {"at": at("18:20"), "ref": "b7", "kind": "knock", "outcome": "missed"}
    assert set(faults_of(record(bites=[twice, twice], catches=[catch(ref="x"), catch(ref="x")]))) == {
        "bites.1.ref", "catches.1.ref",
    }  # fmt: skip


def test_a_trip_is_taken_to_its_most_parts_and_no_further():
    change = {"path": "trip.notes", "was": "", "now": "", "at": at("09:00", "2026-10-12")}
    rods = [deployment(str(place), rod=f"rod {place}") for place in range(201)]
    assert len(TripRecord.parse(record(deployments=rods[:200], corrections=[change] * 1000)).corrections) == 1000
    assert set(faults_of(record(deployments=rods, corrections=[change] * 1001))) == {"deployments", "corrections"}


@pytest.mark.parametrize(
    ("trip", "more"),
    [
        ({}, []),
        ({}, [catch(ref="x", deployment="a"), catch("21:10", ref="y")]),
        ({}, [catch(ref="x"), catch(ref="x")]),
        ({}, [catch(ref="had")]),
        ({}, [catch(ref="x", deployment="b")]),
        ({}, [catch("20:06", ref="x", deployment="a")]),
        ({}, [catch(ref="x"), catch("21:11", ref="y")]),
        ({"outcome": "blank"}, [catch(ref="x")]),
        ({"outcome": "not_fished", "why_not": "weed"}, [catch(ref="x")]),
        ({}, [catch(ref=f"x{number}") for number in range(4999)]),
        ({}, [catch(ref=f"x{number}") for number in range(5000)]),
    ],
)
def test_a_trip_takes_more_catches_where_the_whole_is_a_trip(trip, more):
    fished = "outcome" not in trip
    plain = record(
        trip=trip,
        deployments=[] if trip.get("outcome") == "not_fished" else [deployment()],
        catches=[catch(ref="had")] if fished else [],
    )
    try:
        TripRecord.parse({**plain, "catches": [*plain["catches"], *more]})
        fits = True
    except InvalidInput:
        fits = False
    assert TripRecord.parse(plain).takes([Catch.parse(one) for one in more]) is fits
