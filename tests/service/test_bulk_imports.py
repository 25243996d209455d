"""Files of rows over HTTP: every format, every status, files that break, and an import that is killed half way."""

from __future__ import annotations

import json
import os
import signal
import time
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.security import LOCAL_ACCOUNT
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.holders import context_of, keyed_client, make_holder
from tests.service.importing import CSV, GEOJSON, NDJSON, counts, ended, ndjson, report, statuses, take
from tests.service.problems import problem

STATION = "pellwick-roads"
#: More fields than faults are listed of one row.
MANY = [f"more_{number}" for number in range(50)]
HEADER = (
    "client_ref,name,latitude,longitude,time_zone,station,kind,beds,"
    "slack_lags.after_hw_min,slack_lags.after_lw_min,notes"
)


def mark(reference, **changes):
    document = {name: value for name, value in example("create_mark").items() if name != "external_ref"}
    return {"client_ref": reference, **document, "station": STATION, **changes}


def many_marks(count):
    """A file of marks that differ by name of reference alone."""
    before, after = ndjson(mark("spot-?")).split(b"?")
    return b"".join(b"%b%d%b" % (before, number, after) for number in range(count))


def csv_row(reference, station=STATION, latitude="51.23"):
    return f"{reference},Long Beach,{latitude},-20.37,Etc/UTC,{station},open_beach,clean_sand;mud,25,35,Invented.\n"


def feature(reference, longitude=-20.37, **changes):
    properties = {**mark(reference), **changes}
    for name in ("longitude", "latitude"):
        properties.pop(name)
    geometry = {"type": "Point", "coordinates": [longitude, 51.23]}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def collection(*features):
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def marks(client):
    return client.get("/v1/marks", params={"limit": 500}).json()["items"]


@pytest.fixture
def idle(serve):
    """An application that runs no jobs itself."""
    return serve(workers=0)


@pytest.fixture
def shore(idle):
    """The same with one station."""
    client = idle
    client.post("/v1/stations", json={**example("create_station"), "external_ref": STATION})
    return client


@pytest.fixture(scope="module")
def cove_of_all(tmp_path_factory):
    """The same once for many tests."""
    app = create_app(settings_for(tmp_path_factory.mktemp("cove"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        client.post("/v1/stations", json={**example("create_station"), "external_ref": STATION})
        yield client


@pytest.fixture
def cove(cove_of_all):
    """It without marks."""
    yield cove_of_all
    for one in marks(cove_of_all):
        cove_of_all.delete(f"/v1/marks/{one['id']}", headers={"if-match": "*"})


def test_every_status(shore):
    rows = [mark("one"), mark("two"), mark("one"), mark("two", notes="Other."), mark("three", latitude="north")]
    done, lines = take(shore, ndjson(*rows, {"client_ref": "four", "depth": 1}))
    assert (done["state"], done["problem"], counts(done)) == ("done", None, [6, 2, 1, 1, 2])
    assert statuses(lines) == ["created", "created", "unchanged", "conflict", "invalid", "invalid"]
    assert [line["row"] for line in lines] == [1, 2, 3, 4, 5, 6]
    assert [line["client_ref"] for line in lines] == ["one", "two", "one", "two", "three", "four"]
    made = {one["external_ref"]: one["id"] for one in marks(shore)}
    assert made == {"one": lines[0]["id"], "two": lines[1]["id"]}
    assert [line["id"] for line in lines[2:]] == [made["one"], made["two"], None, None]
    assert lines[4]["faults"] == [{"field": "latitude", "problem": "is 'north'", "expected": "a valid number"}]
    # Every fault of a row at once: what is missing, and what is no field.
    assert {fault["field"] for fault in lines[5]["faults"]} == {
        "depth", "name", "latitude", "longitude", "time_zone", "station", "kind",
    }  # fmt: skip
    (conflict,) = lines[3]["faults"]
    assert conflict["field"] == "client_ref"
    assert conflict["problem"] == f"is that of {made['two']}, which says something else in notes"
    read = shore.get(f"/v1/marks/{made['two']}").json()
    assert (read["notes"], read["version"]) == ("Invented.", 1)
    job = shore.get(f"/v1/jobs/{done['job_id']}").json()
    assert (job["kind"], job["result"], job["progress"]["done"]) == ("import", {"import_id": done["id"]}, 6)


@pytest.mark.parametrize("end", ["", "\n"])
def test_a_last_row_that_is_wrong_is_a_row_and_no_file_that_was_cut_off(cove, end):
    wrong = json.dumps({**mark("two"), "latitude": float("nan")})
    done, lines = take(cove, ndjson(mark("one")) + f"{wrong}{end}".encode())
    assert (done["state"], statuses(lines)) == ("done", ["created", "invalid"])
    assert "is no JSON" in lines[1]["faults"][0]["problem"]


def test_a_conflict_names_what_differs(cove):
    ground = {"beach_slope": 0.02, "slack_lags": {"after_hw_min": 20.0, "after_lw_min": 30.0}, "beds": ["mud"]}
    told = take(cove, ndjson(mark("one", **ground)))[1][0]["id"]
    other = {**ground, "slack_lags": {"after_hw_min": 25.0, "after_lw_min": 30.0}, "beds": ["mud", "clean_sand"]}
    rows = [mark("one", **other), mark("one", **other, name="x", notes="x", latitude=0.0, longitude=0.0)]
    for dry in (True, False):
        _, lines = take(cove, ndjson(*rows), dry_run=dry)
        assert statuses(lines) == ["conflict", "conflict"]
        few, many = (line["faults"][0]["problem"] for line in lines)
        begins = f"is that of {told}, which says something else in "
        assert set(few.removeprefix(begins).split(", ")) == {"beds", "slack_lags.after_hw_min"}
        assert many.startswith(begins)
        assert many.endswith(" and 1 more")


def test_the_same_file_again_changes_nothing_and_an_edit_is_a_conflict(shore):
    content = ndjson(mark("one"), mark("two"))
    take(shore, content)
    before = marks(shore)
    done, lines = take(shore, content)
    assert (counts(done), marks(shore)) == ([2, 0, 2, 0, 0], before)
    assert [line["id"] for line in lines] == [one["id"] for one in sorted(before, key=lambda one: one["external_ref"])]
    patch = {"headers": {"if-match": "*", "content-type": "application/merge-patch+json"}, "json": {"notes": "Mine."}}
    shore.patch(f"/v1/marks/{lines[0]['id']}", **patch)
    done, lines = take(shore, content)
    assert statuses(lines) == ["conflict", "unchanged"]
    assert shore.get(f"/v1/marks/{lines[0]['id']}").json()["notes"] == "Mine."


def test_all_formats_make_the_same_marks(shore):
    beds, lags = ["clean_sand", "mud"], {"after_hw_min": 25.0, "after_lw_min": 35.0}
    same = {"name": "Long Beach", "beds": beds, "slack_lags": lags, "notes": "Invented."}
    files = {
        CSV: f"\ufeff{HEADER}\r\n{csv_row('csv')}".encode(),
        NDJSON: ndjson(mark("ndjson", **same)),
        GEOJSON: collection(feature("geojson", **same)),
    }
    for media_type, content in files.items():
        done, lines = take(shore, content, media_type)
        assert (done["state"], statuses(lines)) == ("done", ["created"]), (done, lines)
    told = [{name: value for name, value in one.items() if name in example("create_mark")} for one in marks(shore)]
    assert sorted(one.pop("external_ref") for one in told) == ["csv", "geojson", "ndjson"]
    assert told[0] == told[1] == told[2]
    assert (told[0]["latitude"], told[0]["longitude"], told[0]["beds"], told[0]["slack_lags"]) == (
        51.23, -20.37, beds, lags,
    )  # fmt: skip


def test_stations_with_and_without_constituents(idle):
    client = idle
    given = {name: value for name, value in example("create_station").items() if name != "external_ref"}
    bare = {"client_ref": "bare", "name": "Hollow Point", "latitude": 51.0}
    content = ndjson({"client_ref": STATION, **given}, bare, {"client_ref": "x", **given, "model": {"datum": "a"}})
    _, lines = take(client, content, kind="station")
    assert statuses(lines) == ["created", "created", "invalid"], lines
    station = client.get(f"/v1/stations/{lines[0]['id']}").json()
    assert (station["external_ref"], station["current_version"], station["longitude"]) == (STATION, 1, -20.4)
    assert statuses(take(client, content, kind="station")[1]) == ["unchanged", "unchanged", "invalid"]
    # A row without constituents says nothing of the tide; one with others does.
    model = given.pop("model")
    other = {**model, "constituents": {"M2": {"amplitude_m": 1.0, "phase_deg": 0.0}}}
    rows = ({"client_ref": STATION, **given}, {"client_ref": STATION, **given, "model": other})
    assert statuses(take(client, ndjson(*rows), kind="station")[1]) == ["unchanged", "conflict"]
    unserved = {"client_ref": "guess", **given, "model": {**model, "convention": "guess"}}
    _, lines = take(client, ndjson(unserved, {**bare, "time_zone": "Atlantis/Deep"}), kind="station")
    assert [line["faults"][0]["field"] for line in lines] == ["convention of constituents", "time_zone"]
    table = b"client_ref,name,latitude,longitude,time_zone,public\nhead,Wreck Head,51.5,,,\n"
    assert statuses(take(client, table, CSV, kind="station")[1]) == ["created"]


def test_a_dry_run_writes_nothing_but_the_report(shore):
    take(shore, ndjson(mark("one"), mark("two")))
    before, changes = marks(shore), shore.get("/v1/changes").json()
    rows = [mark("one"), mark("two", notes="Other."), mark("three"), mark("three"), mark("three", notes="Other."), {}]
    expected = ["unchanged", "conflict", "created", "unchanged", "conflict", "invalid"]
    done, lines = take(shore, ndjson(*rows), dry_run=True)
    assert (done["dry_run"], counts(done), statuses(lines)) == (True, [6, 1, 2, 2, 1], expected)
    assert [line["id"] is None for line in lines] == [False, False, True, True, True, True]
    assert (marks(shore), shore.get("/v1/changes").json()) == (before, changes)
    assert statuses(take(shore, ndjson(*rows))[1]) == expected


def test_rows_of_one_name_far_apart_are_compared_too(shore):
    # The second one comes in another transaction.
    rows = [mark("far"), *[{}] * 1000, mark("far"), mark("far", notes="Other.")]
    for dry_run in (True, False):
        done, lines = take(shore, ndjson(*rows), dry_run=dry_run)
        assert counts(done) == [1003, 1, 1, 1, 1000]
        assert statuses([lines[0], *lines[-2:]]) == ["created", "unchanged", "conflict"]


def test_the_report_is_paged_and_chosen_by_status(shore):
    done, lines = take(shore, ndjson(mark("one"), {}, mark("two"), {}, {}))
    place = f"/v1/imports/{done['id']}"
    assert report(shore, place, limit=2) == lines
    assert [line["row"] for line in report(shore, place, status="invalid", limit=1)] == [2, 4, 5]
    cursor = shore.get(f"{place}/rows", params={"limit": 1}).json()["next_cursor"]
    other, _ = take(shore, ndjson({}))
    problem(shore.get(f"/v1/imports/{other['id']}/rows", params={"cursor": cursor}), 422, "cursor-invalid")
    listed = shore.get("/v1/imports").json()["items"]
    assert [one["id"] for one in listed] == [done["id"], other["id"]]


def test_changes_list_what_an_import_made(shore):
    after = shore.get("/v1/changes").json()["next_after"]
    _, lines = take(shore, ndjson(mark("one"), {}, mark("two")))
    changes = shore.get("/v1/changes", params={"after": after}).json()["items"]
    assert [(one["kind"], one["id"], one["change"]) for one in changes] == [
        ("mark", lines[0]["id"], "created"),
        ("mark", lines[2]["id"], "created"),
    ]


@pytest.mark.parametrize(
    ("media_type", "content", "rows", "says"),
    [
        (NDJSON, ndjson(mark("one")) + b'{"client_ref": "tw', 1, "line 2: the file ends within"),
        (NDJSON, ndjson(mark("one")) + b'{"client_ref": "\xff"}\n', 1, "line 2: byte 17 is not UTF-8"),
        (NDJSON, ndjson(mark("one")) + b" " * 300_000, 1, "line 2: the line is too long"),
        (CSV, b"", 0, None),
        (CSV, b"client_ref,depth\n", 0, "line 1: the header names a column 'depth'"),
        (CSV, b"name,latitude\n", 0, "line 1: the header has no column client_ref"),
        (CSV, b"client_ref,name,name\n", 0, "line 1: the header names a column twice"),
        (CSV, f"{HEADER}\n{csv_row('one')}two,Long".encode(), 1, "line 3: the file ends within a row"),
        (CSV, f'{HEADER}\n{csv_row("one")}"two,Long\n'.encode(), 1, "line 3: this is no CSV"),
        (CSV, f"{HEADER}\n{csv_row('one')}".encode() + b"\xe9\n", 1, "line 3: byte 1 is not UTF-8"),
        (GEOJSON, b"[]", 0, "line 1: there is '['"),
        (GEOJSON, b'{"type": "Feature"}', 0, "line 1: the type is 'Feature'"),
        (GEOJSON, b'{"features": []}', 0, "line 1: the object has no type"),
        (GEOJSON, collection(feature("one"), feature("two"))[:-30], 1, "line 1: the file ends within"),
        (GEOJSON, collection(feature("one"))[:-2] + b",\nNaN]}", 1, "line 2: the file ends within"),
        (GEOJSON, collection(feature("one")) + b"\n{}", 1, "line 2: something follows"),
        (GEOJSON, collection(feature("one"))[:-2] + b",\n\xff]}", 0, "line 2: this is not UTF-8"),
    ],
)  # fmt: skip
def test_a_file_that_breaks_says_where_and_keeps_the_rows_before(cove, media_type, content, rows, says):
    if says is None:
        sent = cove.post("/v1/imports", params={"kind": "mark"}, content=content, headers={"content-type": media_type})
        problem(sent, 422, "invalid-input")
        return
    done, lines = take(cove, content, media_type)
    assert done["state"] == "failed", done
    assert done["problem"]["type"] == "/problems/file-unreadable"
    assert done["problem"]["detail"].startswith(says), done["problem"]
    assert "expected" in done["problem"]["detail"]
    assert (counts(done)[:2], statuses(lines)) == ([rows, rows], ["created"] * rows)
    assert len(marks(cove)) == rows


@pytest.mark.parametrize(
    ("media_type", "row", "fields"),
    [
        (NDJSON, b"nonsense\n", ["row"]),
        (NDJSON, b"[1]\n", ["row"]),
        (NDJSON, b'{"latitude": NaN}\n', ["row"]),
        (NDJSON, ndjson(mark("a\x00b")), ["client_ref"]),
        (NDJSON, ndjson(mark("a")).replace(b'"a"', b'"\\ud800"'), ["row"]),
        (NDJSON, ndjson(mark(" a")), ["client_ref"]),
        (NDJSON, ndjson(mark("a", station="nowhere")), ["station"]),
        (NDJSON, ndjson(mark("a", external_ref="b")), ["external_ref"]),
        (NDJSON, ndjson({**mark("a"), **{name: 1 for name in MANY}}), [*MANY[:20], "row"]),
        (CSV, f"{HEADER}\n{csv_row('a', latitude='1e999')}".encode(), ["latitude"]),
        (CSV, f"{HEADER}\n{csv_row('a', latitude='5_1')}".encode(), ["latitude"]),
        (CSV, f"{HEADER}\na,b\n".encode(), ["row"]),
        (GEOJSON, collection(feature("a", longitude=181)), ["longitude"]),
        (GEOJSON, collection({**feature("a"), "geometry": None}), ["geometry"]),
        (GEOJSON, collection(feature("\ud800")), ["client_ref"]),
        (GEOJSON, collection(7), ["row"]),
        (GEOJSON, collection(feature("a")).replace(b"-20.37", b"1e999"), ["longitude"]),
    ],
)  # fmt: skip
def test_a_bad_row_says_every_fault_and_stops_no_other(cove, media_type, row, fields):
    done, lines = take(cove, row, media_type)
    assert (done["state"], statuses(lines)) == ("done", ["invalid"]), (done, lines)
    assert [fault["field"] for fault in lines[0]["faults"]] == fields
    assert all(fault["problem"] and fault["expected"] for fault in lines[0]["faults"])
    assert marks(cove) == []


def test_what_cannot_be_taken_is_refused_at_once(serve):
    client = serve(max_upload_bytes=1000, workers=0)

    def send(content=b"{}\n", media_type=NDJSON, **params):
        return client.post(
            "/v1/imports", params={"kind": "mark", **params}, content=content, headers={"content-type": media_type}
        )

    problem(send(media_type="application/json"), 415, "media-not-supported")
    problem(send(media_type=""), 415, "media-not-supported")
    problem(send(b"{}\n" * 1000), 413, "body-too-large")
    problem(send(kind="moon"), 422, "invalid-request")
    assert list(client.app.state.house.settings.spool_folder.iterdir()) == []
    problem(client.get("/v1/imports/imp_0"), 404, "not-found")
    problem(client.get("/v1/imports/nonsense/rows"), 404, "not-found")
    # The same while it waits is the same import; under another kind, or as a dry run, it is not.
    first = send().json()
    assert send().json() == first
    assert len({first["id"], send(kind="station").json()["id"], send(dry_run=True).json()["id"]}) == 3
    key = {"idempotency-key": "once", "content-type": NDJSON}
    sent = [client.post("/v1/imports?kind=mark", content=b'{"a": 1}\n', headers=key) for _ in range(2)]
    assert sent[0].json() == sent[1].json()
    assert sent[0].headers["location"] == sent[1].headers["location"]
    client.post(f"/v1/jobs/{sent[0].json()['job_id']}/cancel")
    again = client.post("/v1/imports?kind=mark", content=b'{"a": 1}\n', headers=key)
    assert (again.status_code, again.json()) == (202, sent[0].json())
    problem(client.post("/v1/imports?kind=mark", content=b"{}\n", headers=key), 422, "idempotency-key-reused")


def test_rows_over_the_limit_are_not_read(serve):
    client = serve(max_import_rows=2)
    bare = [{"client_ref": f"s-{n}", "name": "Hollow Point", "latitude": 51.0} for n in range(3)]
    done, lines = take(client, ndjson(*bare), kind="station")
    assert (done["state"], statuses(lines)) == ("failed", ["created", "created"])
    assert done["problem"]["type"] == "/problems/too-many-rows"


def test_two_accounts_have_their_own_names_and_only_admin_makes_stations_public(tmp_path):
    with keyed_client(tmp_path) as client:
        context = context_of(client)
        one, other = make_holder(context, "write", "read"), make_holder(context, "admin")
        bare = {"client_ref": "head", "name": "Wreck Head", "latitude": 51.5}
        found = {}
        for holder in (one, other):
            headers = {**holder.headers, "content-type": NDJSON}
            content = ndjson(bare, {**bare, "client_ref": "seen", "public": True})
            sent = client.post("/v1/imports?kind=station", content=content, headers=headers)
            place = sent.headers["location"]
            assert ended(client, place, **holder.headers)["state"] == "done"
            found[holder] = client.get(f"{place}/rows", headers=holder.headers).json()["items"]
        assert statuses(found[one]) == ["created", "invalid"]
        assert "admin" in found[one][1]["faults"][0]["problem"]
        assert statuses(found[other]) == ["created", "created"]
        assert found[one][0]["id"] != found[other][0]["id"]
        problem(client.get(place, headers=one.headers), 404, "not-found")
        problem(client.get(f"{place}/rows", headers=one.headers), 404, "not-found")


def test_an_import_whose_worker_is_killed_goes_on_where_it_was(serve):
    """The worker process is killed in the middle: no row twice, none lost, and the lines before stay as they were."""
    client = serve()
    client.post("/v1/stations", json={**example("create_station"), "external_ref": STATION})
    content = many_marks(15_000)
    sent = client.post("/v1/imports?kind=mark", content=content, headers={"content-type": NDJSON})
    place, ends = sent.headers["location"], time.monotonic() + 60.0
    while client.get(place).json()["rows"] < 1000:
        assert time.monotonic() < ends, "the import does not begin"
    at_work = workers()
    # It would be done before the first lines are read.
    for child in at_work:
        os.kill(child, signal.SIGSTOP)
    first = client.get(f"{place}/rows", params={"limit": 500}).json()["items"]
    for child in at_work:
        os.kill(child, signal.SIGKILL)
    done = ended(client, place)
    job = client.get(f"/v1/jobs/{done['job_id']}").json()
    assert (done["state"], counts(done), job["attempts"]) == ("done", [15_000, 15_000, 0, 0, 0], 2)
    assert client.get(f"{place}/rows", params={"limit": 500}).json()["items"] == first
    store = context_of(client).store
    with store.unit(LOCAL_ACCOUNT) as unit:
        lines = unit.imports.lines(done["id"], None, 0, 20_000)
        made = {record.external_ref: record.id for record in unit.marks.page(None, 20_000)}
        changed = [one.change.thing_id for one in unit.changes.page(0, 20_000) if one.change.kind == "mark"]
    assert [line.row for line in lines] == list(range(1, 15_001))
    assert {line.client_ref: line.thing_id for line in lines} == made
    assert sorted(changed) == sorted(made.values())
    assert len(made) == 15_000


def workers() -> list[int]:
    """The worker processes of this test: children of this process that Python spawned to work."""
    found = []
    for task in Path("/proc/self/task").iterdir():
        for child in (task / "children").read_text().split():
            if "spawn_main" in Path(f"/proc/{child}/cmdline").read_text():
                found.append(int(child))
    return found


def test_an_import_that_runs_is_cancelled_between_transactions(serve):
    client = serve()
    client.post("/v1/stations", json={**example("create_station"), "external_ref": STATION})
    content = many_marks(40_000)
    sent = client.post("/v1/imports?kind=mark", content=content, headers={"content-type": NDJSON})
    place, ends = sent.headers["location"], time.monotonic() + 60.0
    while client.get(place).json()["rows"] == 0:
        assert time.monotonic() < ends, "the import does not begin"
    client.post(f"/v1/jobs/{sent.json()['job_id']}/cancel")
    done = ended(client, place)
    assert done["state"] == "cancelled"
    assert 0 < done["rows"] < 40_000
    assert done["rows"] % 1000 == 0
    with context_of(client).store.unit(LOCAL_ACCOUNT) as unit:
        assert len(unit.marks.page(None, 40_000)) == done["created"] == done["rows"]
