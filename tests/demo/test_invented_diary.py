"""The invented log of the demo coast: the same bytes every time, taken in once, and something to say at once."""

from __future__ import annotations

import csv
import io
import json

import pytest

from demo_stations import make_diary, make_trips
from service.cli.demo_log import load_log
from service.errors import DocumentInvalid
from service.security import LOCAL_ACCOUNT, LOCAL_CALLER
from tests.conftest import ROOT
from tests.service.coast import example
from tests.service.conftest import databases, serve  # noqa: F401
from tests.service.importing import CSV, NDJSON, take
from tests.service.log_book import do_joins

LOG = ROOT / "demo_stations" / "log"


@pytest.fixture
def client(serve):  # noqa: F811
    found = serve(workers=0)
    assert found.post("/v1/stations", json=example("create_station")).status_code == 201
    for name in make_diary.MARKS:
        assert found.post("/v1/marks", json={**example("create_mark"), "external_ref": name}).status_code == 201
    # What a code of FAO stands for, the rules of the account say.
    for path in sorted((ROOT / "demo_stations" / "rules").glob("*.json")):
        assert found.post("/v1/species-rules", json=json.loads(path.read_text("utf-8"))).status_code == 201
    return found


def test_the_log_is_made_again_byte_for_byte():
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([make_diary.HEADER, *make_diary.rows()])
    assert text.getvalue().encode() == (LOG / "diary.csv").read_bytes(), "run python -m demo_stations.make_diary"
    trips = "".join(json.dumps(one, separators=(",", ":")) + "\n" for one in make_trips.trips())
    assert trips.encode() == (LOG / "trips.ndjson").read_bytes(), "run python -m demo_stations.make_trips"
    years = range(make_diary.FIRST.year, make_diary.LAST.year + 1)
    assert {row[1][:4] for row in make_diary.rows()} == {str(year) for year in years}
    assert {row[-2] for row in make_diary.rows()} == {"fished", "blank", "not_fished"}


def test_the_log_comes_in_once_and_has_something_to_say(client, tmp_path):
    context = client.app.state.house.context
    number = len(list(make_diary.rows()))
    assert number > 500
    assert load_log(context, LOCAL_CALLER, LOG) == number + make_trips.TRIPS
    assert load_log(context, LOCAL_CALLER, LOG) == 0
    # Whoever imports the same files doubles nothing.
    done, _ = take(client, (LOG / "diary.csv").read_bytes(), CSV, "diary_row")
    assert (done["created"], done["unchanged"]) == (0, number)
    done, _ = take(client, (LOG / "trips.ndjson").read_bytes(), NDJSON, "trip")
    assert (done["created"], done["unchanged"]) == (0, make_trips.TRIPS)
    assert do_joins(client.app.state.house, LOCAL_ACCOUNT) == make_trips.TRIPS
    rates = client.get("/v1/insights/rates", params={"by": "hours_from_hw"}).json()
    assert (rates["trips"]["counted"], rates["together"]["evidence"]) == (make_trips.TRIPS, "fair")
    season = client.get("/v1/insights/seasons/2025").json()
    assert (season["trips"]["all"] >= make_trips.TRIPS - 1, len(season["species"]) >= 5) == (True, True)
    trips = client.get("/v1/trips", params={"outcome": "fished"}).json()["items"]
    assert {one["record"]["trip"]["notes"] for one in trips} == {make_trips.NOTE}
    rods = client.get(f"/v1/trips/{trips[0]['id']}/two-rods")
    assert rods.status_code == 200, rods.text
    assert len(client.get("/v1/exports/diary-rows", params={"format": "ndjson"}).text.splitlines()) == number
    (tmp_path / "trips.ndjson").write_text('{"client_ref": "x", "trip": {"mark": "nowhere"}}\n')
    with pytest.raises(DocumentInvalid, match=r"row 1: trip\.start"):
        load_log(context, LOCAL_CALLER, tmp_path)
