"""The catch log in bulk: trips, catches and diary rows come in by any table, twice without doubling, and out again."""

from __future__ import annotations

import json

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.security import LOCAL_ACCOUNT
from service.storage.repositories.joins import TripFilter
from service.usecases.log_reading import LogReader
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.holders import context_of
from tests.service.importing import CSV, NDJSON, counts, ndjson, statuses, take
from tests.service.problems import problem

BASS = {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "silver"}
COD = {"scientific_name": "Gadus morhua", "fao_code": "COD", "local_name": None}
STATION = "pellwick-roads"


@pytest.fixture(scope="module")
def bay_of_all(tmp_path_factory):
    """An application that runs no jobs itself, with two marks and a rule; one of the marks has summer time."""
    app = create_app(settings_for(tmp_path_factory.mktemp("bay"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        client.post("/v1/stations", json={**example("create_station"), "external_ref": STATION})
        plain = {
            **example("create_mark"),
            "station": STATION,
            "species": [{"scientific_name": "Gadus morhua", "fao_code": "COD"}],
        }
        for name, zone in (("spit", "WET"), ("stage", "Etc/GMT-3")):
            made = client.post("/v1/marks", json={**plain, "external_ref": name, "time_zone": zone})
            assert made.status_code == 201, made.text
        rule = {**example("create_species_rule"), "external_ref": None, "species": BASS}
        assert client.post("/v1/species-rules", json=rule).status_code == 201
        yield client


@pytest.fixture
def bay(bay_of_all, request):
    """It with a word of its own for each test, so that none is in another's way."""
    bay_of_all.word = request.node.name[:30]
    return bay_of_all


def trip(reference, mark="spit", **changes):
    said = {"mark": mark, "start": "2024-06-01T18:00:00Z", "end": "2024-06-01T22:00:00Z", "outcome": "fished"}
    rods = [
        {"ref": ref, "rod": ref, "start": "2024-06-01T18:00:00Z", "end": "2024-06-01T22:00:00Z"} for ref in ("l", "r")
    ]
    return {"client_ref": reference, "trip": {**said, **changes}, "deployments": rods}


def fish(reference, of, **changes):
    row = {"client_ref": reference, "trip": of, "at": "2024-06-01T19:00:00Z", "deployment": "l", "species": BASS}
    return {**row, "length": {"cm": 41, "kind": "total"}, "fate": "returned", **changes}


def exported(client, what="trips", **params):
    answer = client.get(f"/v1/exports/{what}", params=params)
    assert answer.status_code == 200, answer.text
    return answer


def lines_of(client, what="trips", **params):
    return [json.loads(line) for line in exported(client, what, **params).text.splitlines()]


def faults(lines):
    return [[fault["field"] for fault in line["faults"]] for line in lines]


def test_trips_and_catches_come_twice_without_doubling(bay):
    one, two = f"{bay.word}-1", f"{bay.word}-2"
    trips = ndjson(trip(one), trip(two, outcome="blank"), trip(one), trip(one, party=3))
    _, lines = take(bay, trips, kind="trip")
    assert statuses(lines) == ["created", "created", "unchanged", "conflict"], lines
    assert lines[3]["faults"][0]["problem"].endswith(" which says something else in trip.party")
    rows = [
        fish("a", one), fish("b", one, at="2024-06-01T22:03:00Z"), fish("a", one), fish("a", one, fate="kept"),
        fish("c", lines[0]["id"], species="silver", at="2024-06-01T18:30:00Z"), fish("d", one, deployment="x"),
        fish("e", one, at="2024-06-01T23:00:00Z"), fish("f", two), fish("g", "nowhere"),
        fish("h", one, length={"cm": 400, "kind": "total"}), fish("i", one, species="unicorn"), fish("a/b", one),
    ]  # fmt: skip
    expected = ["created", "created", "unchanged", "conflict", "created", *["invalid"] * 7]
    assert statuses(take(bay, ndjson(*rows), kind="catch", dry_run=True)[1]) == expected
    before = bay.get("/v1/changes").json()["next_after"]
    _, caught = take(bay, ndjson(*rows), kind="catch")
    assert statuses(caught) == expected
    assert caught[3]["faults"][0]["problem"].endswith(" which says something else in fate")
    assert faults(caught[5:]) == [
        ["deployment"], ["at"], ["trip"], ["trip"], ["length.cm"], ["species"], ["client_ref"],
    ]  # fmt: skip
    assert {line["id"] for line in caught[:3]} == {lines[0]["id"]}
    # All of them made one new version of the trip.
    changes = bay.get("/v1/changes", params={"after": before}).json()["items"]
    assert [(one["kind"], one["change"], one["version"]) for one in changes] == [("trip", "updated", 2)]
    again = ["unchanged", "unchanged", "unchanged", "conflict", "unchanged", *["invalid"] * 7]
    assert statuses(take(bay, ndjson(*rows), kind="catch")[1]) == again
    # The trips say nothing of catches, and so nothing against those that have come.
    assert statuses(take(bay, trips, kind="trip")[1]) == ["unchanged", "unchanged", "unchanged", "conflict"]
    # What it adds up to has grown with it: three of one species, none kept.
    with context_of(bay).store.unit(LOCAL_ACCOUNT) as unit:
        ((year, caught),) = LogReader(context_of(bay), unit).trips_caught(TripFilter())
    own = caught.of == year.ids.index(lines[0]["id"])
    assert [caught.species.values[place][1] for place in caught.species.codes[own]] == ["BSS"]
    assert caught.sums[own].tolist() == [[3, 0, 3]]
    whole = {one["client_ref"]: one for one in lines_of(bay)}[one]
    assert [caught["ref"] for caught in whole["catches"]] == ["a", "b", "c"]
    assert whole["catches"][2]["species"] == BASS


def test_times_out_of_bounds_are_refused_row_by_row(bay):
    word = f"{bay.word}-open"
    rows = [trip(word, end=None), {**trip(f"{word}-early", start="1850-06-01T18:00:00Z", end=None), "deployments": []}]
    _, lines = take(bay, ndjson(*rows), kind="trip")
    assert (statuses(lines), faults(lines[1:])) == (["created", "invalid"], [["trip.start"]])
    caught = ndjson(fish("a", word), fish("b", word, at="2026-06-01T18:30:00Z"))
    _, lines = take(bay, caught, kind="catch")
    assert (statuses(lines), faults(lines[1:])) == (["created", "invalid"], [["at"]])


def test_what_is_exported_is_taken_back_unchanged(bay):
    reference = bay.word
    take(bay, ndjson(trip(reference, notes="=1+1"), trip(f"{reference}-b", outcome="blank")), kind="trip")
    take(bay, ndjson(fish("=a", reference, notes="-"), fish("b", reference, length=None)), kind="catch")
    whole = exported(bay).content
    _, lines = take(bay, whole, kind="trip")
    assert {line["status"] for line in lines} == {"unchanged"}
    sheet = exported(bay, format="csv").content
    mapping = {"ignore": ["trip_*", "deployment_*", "at_date_local"], "skip_without": "client_ref"}
    _, lines = take(bay, sheet, CSV, kind="catch", mapping=json.dumps(mapping))
    assert {line["status"] for line in lines} == {"unchanged"}
    assert "=a" in {line["client_ref"] for line in lines}
    # A trip that the account has no name for goes by its id.
    other = {"client_ref": lines[0]["id"], **{name: json.loads(whole.splitlines()[0])[name] for name in ("trip",)}}
    assert statuses(take(bay, ndjson({**other, "trip": {**other["trip"], "party": 7}}), kind="trip")[1]) == ["conflict"]


def test_a_table_of_trips_goes_by_the_clocks_of_its_marks(bay):
    text = (
        "Nr;Day;From;To;Where;Rods;How;Sought\r\n"
        f"{bay.word}-1;26.10.2024;20.15;00:30;spit;2;x;silver\r\n"
        f"{bay.word}-2;26.10.2024;20:15;21:15;stage;0;-;COD\r\n"
        # On 27 October 2024 the clocks of WET show 1:00 to 2:00 twice, on 31 March they skip it.
        f"{bay.word}-3;27.10.2024;01:30;05:00;spit;1;x;\r\n"
        f"{bay.word}-4;31.3.2024;01:30;05:00;spit;1;x;\r\n"
        f"{bay.word}-5;31.2.2024;01:30;05:00;spit;1;x;\r\n"
        f"{bay.word}-6;1.6.2024;25:30;05:00;nowhere;1;x;kraken\r\n"
        f"{bay.word}-7;1.6.2024;5:30;06:00;nowhere;1;x;\r\n"
        f"{bay.word}-8;1.6.2099;5:30;06:00;spit;1;x;\r\n"
    )
    mapping = {
        "columns": {
            "Nr": "client_ref", "Day": "local.date", "From": "local.from", "To": "local.to", "Where": "trip.mark",
            "Rods": "rods", "How": "trip.outcome", "Sought": "trip.target",
        },
        "values": {"trip.outcome": {"x": "fished", "-": "blank"}}, "date_format": "DD.MM.YYYY", "delimiter": ";",
        "time_zone": "mark",
    }  # fmt: skip
    done, lines = take(bay, text.encode(), CSV, kind="trip", mapping=json.dumps(mapping))
    assert statuses(lines) == ["created", "created", *["invalid"] * 6], lines
    assert faults(lines[2:]) == [
        ["local.from"], ["local.from"], ["local.date"], ["local.from", "trip.target", "trip.mark"],
        ["trip.mark"], ["local.from", "local.to"],
    ]  # fmt: skip
    assert "01:30+01:00 or 01:30+00:00" in lines[2]["faults"][0]["expected"]
    assert done["mapping"]["date_format"] == "DD.MM.YYYY"
    made = {one["client_ref"]: one for one in lines_of(bay)}
    first, second = made[f"{bay.word}-1"], made[f"{bay.word}-2"]
    # A quarter past eight in summer, half past midnight before the clocks go back; three hours east at the other mark.
    assert (first["trip"]["start"], first["trip"]["end"]) == ("2024-10-26T19:15:00Z", "2024-10-26T23:30:00Z")
    assert (second["trip"]["start"], second["trip"]["end"]) == ("2024-10-26T17:15:00Z", "2024-10-26T18:15:00Z")
    assert [one["rod"] for one in first["deployments"]] == ["1", "2"]
    assert second["deployments"] == []
    assert (first["trip"]["target"], second["trip"]["target"]) == ([BASS], [COD])
    caught = f"Trip,Time,Day,What,How\n{bay.word}-1,23:10,2024-10-26,bss,kept\n"
    told = {
        "columns": {"Trip": "trip", "Time": "local.time", "Day": "local.date", "What": "species", "How": "fate"},
        "client_ref_from": ["Day", "Time"], "time_zone": "Etc/UTC",
    }  # fmt: skip
    for status in ("created", "unchanged"):
        assert statuses(take(bay, caught.encode(), CSV, kind="catch", mapping=json.dumps(told))[1]) == [status]
    (one,) = {one["client_ref"]: one for one in lines_of(bay)}[f"{bay.word}-1"]["catches"]
    assert (one["ref"], one["at"]) == ("2024-10-26 23:10", "2024-10-26T23:10:00Z")


DIARY = (
    "Day,Where,Tide,From,To,Cod,Silver,Said\n"
    '05/11/98,spit,HW -2 to +2,,,3,,"cold, ""wild""\nand wet"\n'
    "06/11/98,spit,,18.30,22.00,0,,\n"
    "07/11/98,spit,LW +1 to -1,,,,2,\n"
    "08/11/98,spit,HW -1 to +1,18:00,20:00,1,,\n"
    "09/11/68,spit,,,,1,,\n"
    "10/11/98,spit,,,,one,,\n"
    "11/11/98,spit,,\n"
)
DIARY_MAPPING = {
    "columns": {
        "Day": "date", "Where": "mark", "Tide": "tide", "From": "hours.from", "To": "hours.to", "Cod": "caught.cod",
        "Silver": "caught.silver", "Said": "notes",
    },
    "constants": {"rods": 2, "outcome": "by_count"}, "client_ref_from": ["Day", "Where"], "date_format": "DD/MM/YY",
}  # fmt: skip


def test_an_old_diary_comes_twice_without_doubling(bay):
    sent = {"kind": "diary_row", "mapping": json.dumps(DIARY_MAPPING)}
    done, lines = take(bay, DIARY.encode(), CSV, **sent)
    assert counts(done) == [7, 2, 0, 0, 5], lines
    assert faults(lines[2:]) == [["tide"], ["tide"], ["date"], ["caught.0.count"], ["row"]]
    before = lines_of(bay, "diary-rows")
    assert counts(take(bay, DIARY.encode(), CSV, **sent)[0]) == [7, 0, 2, 0, 5]
    assert statuses(take(bay, DIARY.replace("cold", "mild").encode(), CSV, **sent)[1])[0] == "conflict"
    for form, media_type in (("ndjson", NDJSON), ("csv", CSV)):
        again = exported(bay, "diary-rows", format=form).content
        assert statuses(take(bay, again, media_type, kind="diary_row")[1]) == ["unchanged"] * 2
    assert lines_of(bay, "diary-rows") == before
    first, second = before
    assert first["tide"] == {"event": "high_water", "from_h": -2.0, "to_h": 2.0, "which": None}
    assert (first["date"], first["caught"], first["notes"]) == (
        "1998-11-05", [{"species": COD, "count": 3}], 'cold, "wild"\nand wet',
    )  # fmt: skip
    assert (second["hours"], second["outcome"]) == ({"from": "18:30", "to": "22:00"}, "blank")
    assert [one["date"] for one in lines_of(bay, "diary-rows", first_day="1998-11-06")] == ["1998-11-06"]
    assert [one["date"] for one in lines_of(bay, "diary-rows", last_day="1998-11-05")] == ["1998-11-05"]
    assert exported(bay, "diary-rows", format="csv", names=True).text.splitlines()[0].endswith(",mark_name")


def test_a_mapping_that_does_not_fit_is_refused_at_once(bay):
    def send(media_type=CSV, **mapping):
        params = {"kind": "diary_row", "mapping": mapping.pop("raw", None) or json.dumps(mapping)}
        return bay.post("/v1/imports", params=params, content=b"date\n", headers={"content-type": media_type})

    assert [one["field"] for one in problem(send(NDJSON), 422, "invalid-input")["errors"]] == ["mapping"]
    assert [one["field"] for one in problem(send(raw="{"), 422, "invalid-input")["errors"]] == ["mapping"]
    found = problem(send(columns={"Day": "day", "Cod": "caught.cod"}, values={"weed": {}}), 422, "invalid-input")
    assert [one["field"] for one in found["errors"]] == ["mapping.columns.Day", "mapping.values.weed"]
    assert "caught.*" in found["errors"][0]["expected"]
    found = problem(send(decimal=";", encoding="utf-7"), 422, "invalid-input")
    assert [one["field"] for one in found["errors"]] == ["mapping.decimal", "mapping.encoding"]


def test_exports_are_filtered_and_come_in_the_form_asked_for(bay):
    reference = bay.word
    late = {"start": "2025-02-03T04:00:00Z", "end": None}
    take(bay, ndjson({**trip(reference, "stage", **late), "deployments": []}), kind="trip")
    marks = {one["external_ref"]: one["id"] for one in bay.get("/v1/marks").json()["items"]}
    assert [one["client_ref"] for one in lines_of(bay, start="2025-02-03T04:00:00Z")] == [reference]
    assert reference not in [one["client_ref"] for one in lines_of(bay, end="2025-02-03T04:00:00Z")]
    assert {one["trip"]["mark"] for one in lines_of(bay, mark_id=marks["spit"])} <= {"spit"}
    answer = exported(bay, format="dwca")
    assert (answer.headers["content-type"], answer.content[:2]) == ("application/zip", b"PK")
    assert 'filename="catch-log.zip"' in answer.headers["content-disposition"]
    answer = bay.get("/v1/exports/trips", headers={"accept": "text/csv"})
    assert answer.headers["content-type"].startswith("text/csv")
    problem(bay.get("/v1/exports/trips", headers={"accept": "image/png"}), 406, "not-acceptable")
    problem(bay.get("/v1/exports/trips", params={"mark_id": "mrk_0"}), 404, "not-found")
    problem(bay.get("/v1/exports/trips", params={"grid_km": 0.1}), 422, "invalid-request")


def test_regulations_come_in_once_from_either_format(bay):
    reference = bay.word
    rule = {**example("create_regulation"), "client_ref": reference}
    rule.pop("external_ref")
    assert statuses(take(bay, ndjson(rule, {**rule, "bag": 3}), kind="regulation")[1]) == ["created", "conflict"]
    sizes = json.dumps(rule["sizes"]).replace('"', '""')
    seasons = json.dumps(rule["release_only"]).replace('"', '""')
    species = rule["species"]
    sheet = (
        "client_ref,area,source,dated,species.scientific_name,species.fao_code,species.local_name,sizes,bag,release_only,"
        "always_banned\n"
        f'{reference},{rule["area"]},"{rule["source"]}",{rule["dated"]},{species["scientific_name"]},'
        f'{species["fao_code"]},{species["local_name"]},"{sizes}",2,"{seasons}",\n'
        f"{reference}-all,{rule['area']},board,2026-04-12,,,,,,,\n"
        f"{reference}-bag,{rule['area']},board,soon,,,,,2,,perhaps\n"
    ).encode()
    lines = take(bay, sheet, CSV, kind="regulation")[1]
    assert statuses(lines) == ["unchanged", "created", "invalid"]
    assert {one["field"] for one in lines[2]["faults"]} == {"dated", "always_banned", "bag"}
    (found,) = bay.get("/v1/regulations", params={"external_ref": reference}).json()["items"]
    assert (found["version"], found["regulation"]["bag"]) == (1, 2)
    assert found in bay.get("/v1/regulations", params={"area": rule["area"]}).json()["items"]
