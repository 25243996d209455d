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
    lines = map(json.loads, client.get("/v1/exports/trips").text.splitlines())
    made = {one["client_ref"]: one for one in lines}
    return [made[reference] for reference in references if reference in made]


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
    text = "client_ref,trip.start,local.date,trip.mark,trip.outcome\nt6,2024-05-02T05:00:00Z,31.02.2024,spit,blank\n"
    (line,) = table(bay, "trip", text, date_format="DD.MM.YYYY")
    assert fields(line) == ["local.date", "trip.start"]
    assert line["faults"][1]["problem"] == "is given beside local.date"
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


TRIPS = "client_ref,local.date,local.from,local.to,trip.mark,trip.outcome,rods\n"


def test_a_row_is_told_every_fault_at_once(bay):
    lines = table(
        bay, "trip",
        TRIPS
        + "f1,2015-02-31,24:30,26:00,nix,blunk,99\n"
        + "f2,2015-02-03,05:00,06:00,nix,blunk,2\n"
        + "f3,2015-02-03,05:00,06:00,,fished,1.5\n"
        + "f4,2094-02-03,05:00,06:00,nix,blank,2\n"
        + "f5,2094-02-03,05:00,06:00,spit,blunk,2\n"
        + "f6,,,06:00,spit,fished,2\n"
        + "f7,2015-02-03,05:00,,spit,fished,2\n",
    )  # fmt: skip
    assert statuses(lines) == ["invalid"] * 7
    assert list(map(fields, lines)) == [
        ["local.date", "local.from", "local.to", "rods", "trip.outcome", "trip.mark"], ["trip.outcome", "trip.mark"],
        ["rods", "trip.mark"], ["trip.mark"], ["trip.outcome", "local.from", "local.to"], ["local.date", "local.from"],
        ["rods"],
    ]  # fmt: skip
    lines = table(bay, "diary_row", "client_ref,date,mark,tide,rods,outcome\ng2,2015-02-30,nix,HW 3,0,blunk\n")
    assert fields(lines[0]) == ["tide", "date", "rods", "outcome", "mark"]
    header = "client_ref,date,mark,rods,caught.cod,caught.kraken,outcome,why_not\n"
    lines = table(bay, "diary_row", header + "g3,2094-02-03,spit,1,one,2,by_count,\ng4,,nix,1,1,,blank,surf\n")
    assert list(map(fields, lines)) == [["caught.kraken", "caught.0.count", "date"], ["date", "outcome", "mark"]]


def test_a_catch_is_told_every_fault_at_once(bay):
    header = "client_ref,trip,at,species,length.cm,length.kind,fate\n"
    lines = table(
        bay, "catch",
        header
        + "h1,nix,2024-06-01T20:00:00Z,COD,-4,tail,eaten\n"
        + "h2,june,2024-06-02T20:00:00Z,kraken,400,total,eaten\n"
        + "h3,june,noon,COD,41,,kept\n"
        + "h3,june,2024-06-02T20:00:00Z,COD,41,,kept\n"
        + "h4,,2024-06-01T20:00:00Z,COD,41,total,kept\n"
        + "h5,june,2024-06-01T20:00:00Z,COD,41,total,kept\n",
    )  # fmt: skip
    assert list(map(fields, lines)) == [
        ["length.cm", "length.kind", "fate", "trip"], ["species", "fate", "at"], ["at", "length.kind"],
        ["length.kind", "at"], ["trip"], [],
    ]  # fmt: skip
    assert statuses(lines)[5] == "created"
    header = "client_ref,trip,local.date,local.time,species,fate\n"
    lines = table(bay, "catch", header + "i1,nix,2024-06-01,25:00,kraken,eaten\ni2,,2024-06-01,20:00,COD,kept\n")
    assert list(map(fields, lines)) == [["species", "local.time", "fate", "trip"], ["trip"]]
    assert [lines[1]["faults"][0][name] for name in ("problem", "expected")] == ["is missing", "a value"]
    row = {"client_ref": "i3", "trip": "nix", "at": "2024-06-01T20:00:00Z", "species": COD, "fate": "eaten", "ref": "x"}
    assert fields(take(bay, ndjson(row), NDJSON, "catch")[1][0]) == ["ref", "fate", "trip"]


def test_a_trip_with_parts_is_told_every_fault_at_once(bay):
    said = {"mark": "nix", "start": "2094-01-01T00:00:00Z", "outcome": "x", "we.ird": 1}
    row = {"client_ref": "q1", "trip": said, "deployments": [{"rod": "1"}], "catches": 5}
    lines = take(bay, ndjson(row, {"client_ref": "q2", "trip": 5}), NDJSON, "trip")[1]
    assert list(map(fields, lines)) == [
        ["trip.outcome", "trip.'we.ird'", "deployments.0.start", "deployments.0.end", "catches", "trip.mark",
         "trip.start"],
        ["trip"],
    ]  # fmt: skip


def test_other_kinds_are_told_every_fault_at_once(bay):
    mark = {**example("create_mark"), "client_ref": "k1", "station": "nix", "latitude": 91, "kind": "bog"}
    mark.pop("external_ref", None)
    assert fields(take(bay, ndjson(mark), NDJSON, "mark")[1][0]) == ["latitude", "kind", "station"]
    properties = {**{name: value for name, value in mark.items() if name != "latitude"}, "longitude": 2}
    feature = {"type": "Feature", "geometry": None, "properties": properties}
    content = json.dumps({"type": "FeatureCollection", "features": [feature]}).encode()
    lines = take(bay, content, "application/geo+json", "mark")[1]
    assert fields(lines[0]) == ["geometry", "properties.longitude", "kind", "station"]


def test_what_is_missing_is_called_so(bay):
    lines = table(bay, "trip", TRIPS + "j1,2015-02-03,05:00,06:00,,fished,1\n")
    assert [(one["field"], one["problem"]) for one in lines[0]["faults"]] == [("trip.mark", "is missing")]
    text = TRIPS.replace(",", ";") + "j2;31.02.2015;05:00;06:00;spit;fished;1\nj3;soon;05:00;06:00;spit;fished;1\n"
    lines = table(bay, "trip", text, delimiter=";", date_format="DD.MM.YYYY")
    assert [line["faults"] for line in lines] == [
        [{"field": "local.date", "problem": problem, "expected": "a day of the calendar, as DD.MM.YYYY"}]
        for problem in ("is '31.02.2015', and there is no such day", "is 'soon'")
    ]
    text = "client_ref;date;mark;outcome\nj4;31.2.2015;spit;blank\n"
    (line,) = table(bay, "diary_row", text, delimiter=";", date_format="DD.MM.YYYY")
    assert [(one["field"], one["problem"]) for one in line["faults"]] == [
        ("date", "is '31.2.2015', and there is no such day")
    ]
    (line,) = table(bay, "trip", "client_ref,trip.start,trip.mark,trip.outcome,deployments\nj5,,spit,blank,[oops]\n")
    assert fields(line) == ["deployments", "trip.start"]


def test_an_offset_says_which_of_two_times_is_meant(bay):
    # On 27 October 2024 the clocks of WET show 1:00 to 2:00 twice.
    rows = (
        "l1,2024-10-27,00:30,01:30,spit,fished,1", "l2,2024-10-27,00:30,01:30+01:00,spit,fished,1",
        "l3,2024-10-27,01:50+01:00,01:20+00:00,spit,fished,1", "l4,2024-10-26,23:00,01.30 +00:00,spit,fished,1",
        "l5,2024-10-27,01:50+01:00,01:20,spit,fished,1", "l6,2024-10-27,01:50+00:00,01:20,spit,fished,1",
        "l7,2024-10-26,23:00+01:00,01:15Z,spit,fished,1", "l8,2024-05-01,05:00-06:00,08:00,spit,fished,1",
    )  # fmt: skip
    lines = table(bay, "trip", TRIPS + "\n".join(rows) + "\n", time_zone="mark")
    assert [fields(line) for line in lines] == [["local.to"], [], [], [], ["local.to"], [], [], ["local.from"]]
    assert lines[0]["faults"][0]["expected"] == "one of them: 01:30+01:00 or 01:30+00:00"
    # Two times of the day in a cell are no time with an offset.
    assert lines[7]["faults"][0]["expected"] == "05:00+01:00"
    made = {one["client_ref"]: one["trip"] for one in trips_of(bay, *(f"l{number}" for number in range(1, 8)))}
    assert {name: (one["start"][8:16], one["end"][8:16]) for name, one in made.items()} == {
        "l2": ("26T23:30", "27T00:30"), "l3": ("27T00:50", "27T01:20"), "l4": ("26T22:00", "27T01:30"),
        "l6": ("27T01:50", "28T01:20"), "l7": ("26T22:00", "27T01:15"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("form", "day", "between"),
    [("DD.MM.YYYY", "27.10.2024", " "), ("MM/DD/YY", "10/27/24", " "), ("YYYY-MM-DD", "2024-10-27", "T")],
)
def test_an_offset_is_taken_in_the_form_of_the_file(bay, form, day, between):
    header = "client_ref;trip.start;trip.end;trip.mark;trip.outcome\n"
    said = {"delimiter": ";", "date_format": form, "time_zone": "mark"}
    name = form[:2]
    (line,) = table(bay, "trip", f"{header}m{name};{day} 00:30;{day} 01:30;spit;blank\n", **said)
    assert fields(line) == ["trip.end"]
    first, second = (f"{day}{between}01:30{offset}" for offset in ("+01:00", "+00:00"))
    assert line["faults"][0]["expected"] == f"one of them: {first} or {second}"
    text = f"{header}m{name};{day} 00:30;{first};spit;blank\nn{name};{day} 00:30;{second};spit;blank\n"
    assert statuses(table(bay, "trip", text, **said)) == ["created"] * 2
    made = trips_of(bay, f"m{name}", f"n{name}")
    assert [one["trip"]["end"] for one in made] == ["2024-10-27T00:30:00Z", "2024-10-27T01:30:00Z"]


def test_a_trip_that_was_not_fished_has_no_rods(bay):
    header = "client_ref,trip.start,trip.end,trip.mark,trip.outcome,trip.why_not\n"
    text = header + "o1,2015-02-03T05:00:00Z,2015-02-03T06:00:00Z,spit,not_fished,surf\n"
    text += "o2,2015-02-03T05:00:00Z,,spit,not_fished,weed\no3,2015-02-03T05:00:00Z,2015-02-03T06:00:00Z,spit,blank,\n"
    assert statuses(table(bay, "trip", text, constants={"rods": 2})) == ["created"] * 3
    assert statuses(table(bay, "trip", text, constants={"rods": 2})) == ["unchanged"] * 3
    assert [len(one["deployments"]) for one in trips_of(bay, "o1", "o2", "o3")] == [0, 0, 2]
    header = header.replace("\n", ",rods\n")
    text = header + "p1,2015-02-03T05:00:00Z,2015-02-03T06:00:00Z,spit,not_fished,surf,2\n"
    text += "p2,2015-02-03T05:00:00Z,2015-02-03T06:00:00Z,spit,not_fished,surf,0\n"
    lines = table(bay, "trip", text)
    assert [fields(line) for line in lines] == [["rods"], []]
    assert lines[0]["faults"][0]["problem"] == "is 2 of a trip that was not fished"


@pytest.mark.parametrize(
    ("target", "status"),
    [("COD", "created"), (["COD"], "created"), ([], "created"), (5, "invalid"), ([5], "invalid"), (None, "invalid")],
)
def test_a_target_that_no_column_says_is_a_name_or_names_or_refused(bay, target, status):
    reference = f"target {target}"
    header = "client_ref,trip.start,trip.end,trip.mark,trip.outcome\n"
    row = f"{reference.replace(',', ' ')},2024-05-02T05:00:00Z,2024-05-02T06:00:00Z,spit,blank\n"
    (line,) = table(bay, "trip", header + row, constants={"trip.target": target})
    assert line["status"] == status, line
    if status == "created" and target:
        (trip,) = trips_of(bay, reference)
        assert [one["fao_code"] for one in trip["trip"]["target"]] == ["COD"]
    elif status == "invalid":
        assert {field.partition(".0")[0] for field in fields(line)} == {"trip.target"}, line


def test_a_name_with_a_nul_in_it_is_nobodys(bay):
    header = "client_ref,local.date,local.from,local.to,trip.mark,trip.outcome\n"
    (line,) = table(bay, "trip", header + "nul,2024-05-02,05:00,06:00,sp\0it,blank\n")
    assert line["status"] == "invalid"
    assert fields(line) == ["trip.mark"]
