"""What is wrong with rows of trips, catches and diaries: every fault of a row at once, each where the file has it."""

from __future__ import annotations

import json

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.importing import CSV, NDJSON, ndjson, statuses, take

STATION = "pellwick-roads"
COD = {"scientific_name": "Gadus morhua", "fao_code": "COD", "local_name": None}


@pytest.fixture(scope="module")
def bay(tmp_path_factory):
    """An application that runs no jobs itself, with a mark that has summer time and a trip there."""
    app = create_app(settings_for(tmp_path_factory.mktemp("bay"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        client.post("/v1/stations", json={**example("create_station"), "external_ref": STATION})
        species = [{"scientific_name": "Gadus morhua", "fao_code": "COD"}]
        plain = {**example("create_mark"), "station": STATION, "species": species}
        made = client.post("/v1/marks", json={**plain, "external_ref": "spit", "time_zone": "WET"})
        assert made.status_code == 201, made.text
        said = {"mark": "spit", "start": "2024-06-01T18:00:00Z", "end": "2024-06-01T22:00:00Z", "outcome": "fished"}
        assert statuses(take(client, ndjson({"client_ref": "june", "trip": said}), kind="trip")[1]) == ["created"]
        yield client


def table(client, kind, text, **mapping):
    more = {"mapping": json.dumps(mapping)} if mapping else {}
    return take(client, text.encode(), CSV, kind=kind, **more)[1]


def fields(line):
    return [fault["field"] for fault in line["faults"]]


def trips_of(client, *references):
    lines = client.get("/v1/exports/trips").text.splitlines()
    return [one for one in map(json.loads, lines) if one["client_ref"] in references]


def test_a_time_that_is_told_twice_is_refused_with_both_names(bay):
    header = "client_ref,local.date,local.from,local.to,trip.start,trip.end,trip.mark,trip.outcome\n"
    lines = table(
        bay, "trip",
        header
        + "t1,2024-05-01,05:00,06:00,2024-05-02T05:00:00Z,2024-05-02T06:00:00Z,spit,blank\n"
        + "t2,2024-05-01,05:00,06:00,,,spit,blank\n"
        + "t3,,,,2024-05-02T05:00:00Z,2024-05-02T06:00:00Z,spit,blank\n"
        + "t4,2024-05-03,05:00,,,2024-05-03T06:00:00Z,spit,blank\n"
        + "t5,2024-05-03,,06:00,2024-05-03T05:00:00Z,,spit,blank\n",
    )  # fmt: skip
    assert statuses(lines) == ["invalid", "created", "created", "created", "invalid"], lines
    assert (fields(lines[0]), fields(lines[4])) == (["trip.start", "trip.end"], ["trip.start"])
    assert lines[0]["faults"][0]["problem"] == "is given beside local.date, local.from, local.to"
    lines = table(
        bay, "catch",
        "client_ref,trip,local.date,local.time,at,species,fate\n"
        "c1,june,2024-06-01,20:00,2024-06-01T21:00:00Z,COD,kept\n"
        "c2,june,2024-06-01,20:00,,COD,kept\n"
        "c3,june,,,2024-06-01T21:00:00Z,COD,kept\n",
    )  # fmt: skip
    assert statuses(lines) == ["invalid", "created", "created"], lines
    assert fields(lines[0]) == ["at"]
    assert lines[0]["faults"][0]["problem"] == "is given beside local.date, local.time"
    row = {"client_ref": "c4", "trip": "june", "species": COD, "fate": "kept", "at": "2024-06-01T21:00:00Z"}
    rows = ndjson({**row, "local": {"date": "2024-06-01", "time": "20:00"}}, {**row, "local": 5})
    lines = take(bay, rows, NDJSON, "catch")[1]
    assert [fields(line) for line in lines] == [["at"], ["local"]]


def test_by_count_of_nothing_is_a_blank_in_every_format(bay):
    row = {"date": "2015-02-03", "mark": "spit", "outcome": "by_count"}
    none, one = {"species": COD, "count": 0}, {"species": {"scientific_name": "Limanda limanda"}, "count": 1}
    caught = {"n1": [none], "n2": [none, one], "n3": {"cod": 0}, "n4": [], "n5": {"cod": 2}}
    rows = [{**row, "client_ref": f"count-{name}", "caught": said} for name, said in caught.items()]
    assert statuses(take(bay, ndjson(*rows), NDJSON, "diary_row")[1]) == ["created"] * 5
    table(bay, "diary_row", "client_ref,date,mark,outcome,caught.cod\ncount-n6,2015-02-03,spit,by_count,0\n")
    told = map(json.loads, bay.get("/v1/exports/diary-rows").text.splitlines())
    outcomes = {one["client_ref"]: one["outcome"] for one in told if one["client_ref"].startswith("count-")}
    assert [outcomes[f"count-n{number}"] for number in range(1, 7)] == [
        "blank", "fished", "blank", "blank", "fished", "blank",
    ]  # fmt: skip
