"""What the rules on file say of a trip, and what to do with two of its rods, by its record."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from service.security import READ, WRITE
from service.usecases.documents import Draft
from service.usecases.trips import TRIPS
from tests.service.coast import example, make_coast
from tests.service.holders import Clock, context_of, keyed_client, make_holder
from tests.service.problems import problem
from tests.tidecore.catchlog.trips import BASS, at, cast, catch, deployment, record
from tidecore.catchlog import TripRecord

CLOCK = Clock()
CLOCK.now = datetime(2026, 10, 30, 12, tzinfo=UTC)
COD = {"scientific_name": "Gadus morhua", "fao_code": "COD"}


class Place:
    """An account with a coast, and what tests put on record there."""

    def __init__(self, client, holder):
        self.client, self.holder = client, holder
        self.coast = make_coast(client)

    def mark(self, *areas):
        body = {**example("create_mark"), "external_ref": None, "time_zone": "Etc/GMT-2"}
        return self.client.post("/v1/marks", json={**body, "regulation_areas": list(areas)}).json()["id"]

    def rule(self, area, **changes):
        plain = {"area": area, "source": "district order 7, invented", "dated": "2026-02-01", "species": BASS}
        made = self.client.post("/v1/regulations", json={**plain, **changes})
        assert made.status_code == 201, made.text
        return made.json()["id"]

    def trip(self, mark, **more):
        document = record(**more)
        document["trip"]["mark"] = mark
        draft = Draft(TripRecord.parse(document), None)
        return TRIPS.create(context_of(self.client), self.holder.caller, draft).record.id

    def judged(self, trip):
        found = self.client.get(f"/v1/trips/{trip}/regulations")
        assert found.status_code == 200, found.text
        return found.json()

    def rods(self, trip, **query):
        return self.client.get(f"/v1/trips/{trip}/two-rods", params=query)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    with keyed_client(tmp_path_factory.mktemp("trips"), CLOCK) as client:
        holder = make_holder(context_of(client), READ, WRITE)
        client.headers.update(holder.headers)
        yield Place(client, holder)


def kept(clock="19:00", cm=50.0, **more):
    return catch(clock, fate="kept", length={"cm": cm, "kind": "total", "precision_cm": 0.5}, **more)


def test_catches_are_held_against_the_rules_of_the_mark(place):
    sizes = place.rule("Catches", sizes=[{"kind": "total", "min_cm": 42}], bag=2)
    old = place.rule("Catches", dated="2024-01-01", release_only=[{"from": "02-01", "to": "03-31"}])
    trip = place.trip(
        place.mark("Catches"), catches=[kept(cm=41.5), kept("19:30", 38.0), catch("20:00"), kept("20:10", species=COD)]
    )
    found = place.judged(trip)
    assert (found["verdict"], found["kept"], found["anglers"], found["time_zone"]) == ("breach", 3, 1, "Etc/GMT-2")
    size = {one["catches"][0]: one for one in found["findings"] if one["matter"] == "size"}
    assert {ref: one["verdict"] for ref, one in size.items()} == {"c1": "within_measuring_error", "c2": "breach"}
    assert (size["c2"]["regulation_id"], size["c2"]["source"]) == (sizes, "district order 7, invented")
    assert "38 cm is under the 42 cm" in found["text"]
    (bag,) = (one for one in found["findings"] if one["matter"] == "bag")
    assert (bag["verdict"], bag["catches"]) == ("in_order", ["c1", "c2"])
    unknown = [one for one in found["findings"] if one["catches"] == ["c4"]]
    assert [(one["verdict"], one["regulation_id"]) for one in unknown] == [("no_rule_on_file", None)]
    seasons = [one for one in found["findings"] if one["matter"] == "season"]
    assert {(one["verdict"], one["stale"], one["regulation_id"]) for one in seasons} == {("stale", True, old)}
    assert found["stale_rules"] == [old]
    for one in found["findings"]:
        assert one["text"].endswith("Check the authority.")
        assert "legal" not in one["text"]
    assert "no permission" in found["caution"]


def test_other_trips_of_the_local_day_fill_the_bag(place):
    place.rule("Bag", bag=2)
    here, elsewhere = place.mark("Bag"), place.mark("Other waters")
    trip = place.trip(here, catches=[kept("19:00"), kept("19:30")])
    assert {one["verdict"] for one in place.judged(trip)["findings"] if one["matter"] == "bag"} == {"in_order"}
    # After 22:00 UTC it is the next day there; elsewhere another bag is filled; what went back fills none.
    day = {"start": at("00:30"), "end": at("22:30")}
    place.trip(elsewhere, trip=day, catches=[kept("10:00")])
    place.trip(here, trip=day, catches=[catch("10:00")])
    late = place.trip(here, trip={"start": at("22:10"), "end": at("23:30")}, catches=[kept("22:30")])
    assert {one["verdict"] for one in place.judged(trip)["findings"] if one["matter"] == "bag"} == {"in_order"}
    early = place.trip(here, trip={**day, "party": 2}, catches=[kept("09:00")])
    found = place.judged(trip)
    (bag,) = (one for one in found["findings"] if one["matter"] == "bag")
    # Three of two anglers, and whose they are is not told.
    assert (bag["verdict"], found["anglers"]) == ("cannot_compare", 2)
    assert "3 kept on 2026-10-10, 1 of them on other trips" in bag["text"]
    assert early in {one["id"] for one in found["other_trips"]}
    assert late not in {one["id"] for one in found["other_trips"]}
    place.trip(here, trip=day, catches=[kept("08:00"), kept("08:10")])
    assert place.judged(trip)["verdict"] == "breach"


def test_a_mark_without_an_area_fills_no_bag(place):
    place.rule("Alone", bag=1)
    here, nowhere = place.mark("Alone"), place.mark()
    day = {"start": at("00:30", "2026-10-12"), "end": at("20:00", "2026-10-12")}
    trip = place.trip(here, trip=day, catches=[kept() | {"at": at("10:00", "2026-10-12")}])
    place.trip(nowhere, trip=day, catches=[kept() | {"at": at("11:00", "2026-10-12")}] * 2)

    def bag():
        (found,) = (one for one in place.judged(trip)["findings"] if one["matter"] == "bag")
        return found

    assert bag()["verdict"] == "cannot_compare"
    assert "2 on other trips at marks without a stated area are not counted" in bag()["text"]
    place.trip(here, trip=day, catches=[kept() | {"at": at("12:00", "2026-10-12")}])
    assert bag()["verdict"] == "breach"
    assert "2 kept on 2026-10-12, 1 of them on other trips" in bag()["text"]


def test_silence_and_blanks_are_no_permission(place):
    unnamed = place.judged(place.trip(place.mark(), catches=[kept()]))
    assert (unnamed["verdict"], unnamed["areas"]) == ("no_rule_on_file", [])
    assert {one["matter"] for one in unnamed["findings"]} == {"area", "species"}
    assert any("don't assume it may be kept" in one["text"] for one in unnamed["findings"])
    blank = place.judged(place.trip(place.mark("Catches"), trip={"outcome": "blank"}))
    assert (blank["verdict"], blank["findings"]) == (None, [])
    assert blank["text"].endswith("Check the authority.")
    later = place.rule("Later", dated="2026-10-11", sizes=[{"kind": "total", "min_cm": 42}])
    found = place.judged(place.trip(place.mark("Later"), catches=[kept()]))
    assert {one["verdict"] for one in found["findings"] if one["regulation_id"] == later} == {"cannot_compare"}
    problem(place.client.get("/v1/trips/trp_none/regulations"), 404, "not-found")


def rodded(place, *more, **changes):
    near = deployment("n", "near", "18:00", "20:00", casts=[cast("18:05", "19:55")])
    far = deployment("f", "far", "18:00", "20:00", casts=[cast("18:05", "19:55")])
    trip = {"start": at("17:30"), "end": at("20:00")}
    return place.trip(place.coast.mark, trip=trip, deployments=[near, far, *more], **changes)


def test_two_rods_of_a_trip_are_compared_by_its_record(place):
    bites = [{"at": at("18:50"), "deployment": "f", "kind": "knock", "outcome": "missed"}]
    trip = rodded(
        place, bites=bites,
        catches=[catch("19:40", deployment="n"), catch("19:50", deployment="n"), catch("19:00"),
                 catch("18:20", deployment="n", precision_min=60)],
    )  # fmt: skip
    found = place.rods(trip).json()
    assert (found["advice"], found["better"], found["rod"], found["at"]) == ("double_up", "near", "far", at("20:00"))
    assert (found["trip_id"], found["trip_version"]) == (trip, 1)
    near, far = found["rods"]
    assert (near["rod"], near["fish"], near["bursts"], far["bites"]) == ("near", 3, 2, 1)
    assert [one for one in found["remarks"] if "name no deployment" in one]
    assert [one for one in found["remarks"] if "15 or 60 min" in one]
    early = place.rods(trip, at=at("18:10"), rod=["far", "near"], hindrance="weed").json()
    assert (early["advice"], [one["rod"] for one in early["rods"]]) == ("one_rod", ["far", "near"])
    assert early["rods"][1]["bait_on_h"] == pytest.approx(5 / 60, abs=1e-4)


def test_rods_that_cannot_be_compared_are_refused(place):
    one = place.trip(place.coast.mark, deployments=[deployment("n", "near", casts=[cast("18:05", "19:55")])])
    document = problem(place.rods(one), 422, "invalid-input", "rod")
    assert "near" in document["errors"][0]["expected"]
    silent = rodded(place, deployment("s", "silent", "18:00", "19:00"))
    problem(place.rods(silent), 422, "invalid-input", "rod")  # three rods, none named
    document = problem(place.rods(silent, rod=["near", "silent"]), 422, "invalid-input", "rod")
    assert "no casts on record" in document["errors"][0]["problem"]
    document = problem(place.rods(silent, rod=["near", "third"]), 422, "invalid-input", "rod")
    assert "is no rod of the trip" in document["errors"][0]["problem"]
    problem(place.rods(silent, rod=["near", "near"]), 422, "invalid-input", "rod")
    problem(place.rods(silent, rod=["near"]), 422, "invalid-input", "rod")
    problem(place.rods("trp_none"), 404, "not-found")
