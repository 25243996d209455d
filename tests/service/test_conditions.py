"""Conditions over HTTP: given, read, listed and deleted; limits; what changed."""

from __future__ import annotations

from dataclasses import replace
from itertools import count

import pytest
import scipy.io
from starlette.testclient import TestClient

from service.app import create_app
from tests.service.coast import PEER, URL, example, make_coast
from tests.service.conftest import settings_for
from tests.service.problems import problem

TIMES = ["2026-06-01T00:00:00Z", "2026-06-01T03:00:00Z", "2026-06-01T06:00:00Z"]
ISSUE = {
    "kind": "forecast",
    "source": "Invented marine forecast",
    "issued_at": "2026-06-01T00:00:00Z",
    "waves_at": "offshore",
    "wave_period_kind": "peak",
    "times": TIMES,
    "values": {
        "wave_height_m": [0.8, 1.1, 1.5],
        "wave_period_s": [7.0, 7.5, 8.0],
        "wind_speed_m_per_s": [6.0, 8.5, None],
        "wind_from_degree": [240.0, 250.0, 255.0],
    },
}
CSV_BODY = (
    "time,wave_height_m,wind_speed_m_per_s\r\n"
    "2026-06-01T00:00:00Z,0.8,6.0\r\n2026-06-01T03:00:00Z,1.1,8.5\r\n2026-06-01T06:00:00Z,1.5,\r\n"
)
CSV_ABOUT = {
    "kind": "forecast", "source": "Invented CSV", "issued_at": "2026-06-01T00:00:00Z", "waves_at": "offshore",
}  # fmt: skip
MOST_VALUES, MOST_ISSUES = 40, 3
_numbers = count()


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """A coast that the tests of this module may change, where few conditions are kept of a place."""
    folder = tmp_path_factory.mktemp("conditions")
    settings = settings_for(folder, max_condition_values=MOST_VALUES, max_condition_issues=MOST_ISSUES)
    with TestClient(create_app(settings), base_url=URL, client=PEER, raise_server_exceptions=False) as client:
        yield client, make_coast(client)


@pytest.fixture
def coastal(shore):
    """That coast, with a mark of the test's own."""
    client, coast = shore
    made = client.post("/v1/marks", json={**example("create_mark"), "external_ref": None})
    return client, replace(coast, mark=made.json()["id"])


@pytest.fixture
def area():
    """An area of the test's own."""
    return f"Invented shore {next(_numbers)}"


def give(client, headers=None, **changes):
    return client.post("/v1/conditions", json={**ISSUE, **changes}, headers=headers or {})


def listed(client, **query):
    return client.get("/v1/conditions", params=query).json()["items"]


def test_an_issue_is_given_read_listed_and_deleted(coastal):
    client, coast = coastal
    made = give(client, mark_id=coast.mark)
    assert made.status_code == 201, made.text
    (kept,) = made.json()["items"]
    place = made.headers["location"]
    assert place == f"/v1/conditions/{kept['id']}"
    read = client.get(place)
    shown = read.json()
    assert {name: shown[name] for name in kept} == kept
    assert (shown["mark_id"], shown["area"], shown["kind"]) == (coast.mark, None, "forecast")
    assert (shown["starts_at"], shown["ends_at"], shown["values_count"]) == (TIMES[0], TIMES[-1], 12)
    assert shown["variables"] == list(ISSUE["values"])
    assert shown["times"] == TIMES
    # What nobody said is null, and nothing else was made of it.
    assert shown["values"] == ISSUE["values"]
    assert listed(client, mark_id=coast.mark) == [kept]
    assert read.headers["etag"] == made.headers["etag"]
    assert client.get(place, headers={"If-None-Match": read.headers["etag"]}).status_code == 304
    problem(client.delete(place), 428, "precondition-missing")
    problem(client.delete(place, headers={"If-Match": '"x"'}), 412, "stale")
    assert client.delete(place, headers={"If-Match": read.headers["etag"]}).status_code == 204
    problem(client.get(place), 404, "not-found")
    assert listed(client, mark_id=coast.mark) == []


def test_the_same_issue_again_is_the_one_that_is_there(coastal, area):
    client, _ = coastal
    first = give(client, area=area)
    again = give(client, area=area)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    other = give(client, area=area, times=TIMES[:2], values={"wave_height_m": [0.8, 1.2]})
    found = problem(other, 409, "issue-taken")
    assert found["holder"] == first.json()["items"][0]["id"]
    # Another source may say something else for the same time.
    assert give(client, area=area, source="Another").status_code == 201
    assert len(listed(client, area=area)) == 2


def test_an_issue_is_of_one_place(coastal, area):
    client, coast = coastal
    for places, field in (({}, "mark_id"), ({"mark_id": coast.mark, "area": area}, "area")):
        found = problem(give(client, **places), 422, "invalid-input")
        assert [one["field"] for one in found["errors"]] == [field]
    problem(give(client, mark_id="mrk_00000000000000000000000000"), 404, "not-found")
    problem(client.get("/v1/conditions", params={"mark_id": "mrk_00000000000000000000000000"}), 404, "not-found")


def test_csv_says_its_values_and_the_query_the_rest(coastal, area):
    client, _ = coastal
    made = client.post(
        "/v1/conditions", params={**CSV_ABOUT, "area": area}, content=CSV_BODY, headers={"content-type": "text/csv"}
    )
    assert made.status_code == 201, made.text
    shown = client.get(made.headers["location"]).json()
    assert (shown["source"], shown["area"]) == ("Invented CSV", area)
    assert shown["times"] == TIMES
    assert shown["values"] == {"wave_height_m": [0.8, 1.1, 1.5], "wind_speed_m_per_s": [6.0, 8.5, None]}


def test_netcdf_says_its_values_by_their_standard_names(coastal, area, tmp_path):
    client, _ = coastal
    file = tmp_path / "forecast.nc"
    with scipy.io.netcdf_file(file, "w") as made:
        made.Conventions = "CF-1.11"
        made.createDimension("time", 3)
        columns = {
            "time": ([0, 3, 6], {"units": "hours since 2026-06-01 00:00:00", "standard_name": "time"}),
            "hs": ([0.8, 1.1, 1.5], {"units": "m", "standard_name": "sea_surface_wave_significant_height"}),
            "wind": ([6.0, 8.5, 9.0], {"units": "m s-1", "standard_name": "wind_speed"}),
        }
        for name, (values, attributes) in columns.items():
            variable = made.createVariable(name, "d", ("time",))
            variable[:] = values
            for key, value in attributes.items():
                setattr(variable, key, value)
    answer = client.post(
        "/v1/conditions",
        params={**CSV_ABOUT, "source": "Invented model", "area": area},
        content=file.read_bytes(),
        headers={"content-type": "application/netcdf"},
    )
    assert answer.status_code == 201, answer.text
    shown = client.get(answer.headers["location"]).json()
    assert shown["times"] == TIMES
    assert shown["values"] == {"wave_height_m": [0.8, 1.1, 1.5], "wind_speed_m_per_s": [6.0, 8.5, 9.0]}
    refused = client.post(
        "/v1/conditions", params=CSV_ABOUT, content=b"CDF\x01 cut off", headers={"content-type": "application/netcdf"}
    )
    problem(refused, 422, "record-unreadable")


def test_what_a_body_says_is_said_nowhere_else(coastal, area):
    client, _ = coastal
    found = client.post("/v1/conditions", params={"source": "x"}, json={**ISSUE, "area": area})
    assert [one["field"] for one in problem(found, 422, "invalid-input")["errors"]] == ["source"]
    refused = client.post(
        "/v1/conditions", params={"area": area}, content=b"<x/>", headers={"content-type": "text/xml"}
    )
    problem(refused, 415, "media-not-supported")
    empty = client.post("/v1/conditions", params={"area": area}, content=b"", headers={"content-type": "text/csv"})
    problem(empty, 422, "invalid-input")
    problem(
        client.post("/v1/conditions", content=b"{", headers={"content-type": "application/json"}),
        400,
        "body-unreadable",
    )


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"values": {"wave_from_degree": [400.0, 10.0, 20.0]}}, "values.wave_from_degree"),
        ({"values": {"wave_height_m": [-0.1, 1.0, 1.0]}}, "values.wave_height_m"),
        ({"values": {"wave_period_s": [0.0, 7.0, 7.0]}}, "values.wave_period_s"),
        ({"values": {"wave_height_ft": [1.0, 7.0, 7.0]}}, "values.wave_height_ft"),
        ({"values": {"wave_height_m": [1.0]}}, "values.wave_height_m"),
        ({"wave_period_kind": None}, "wave_period_kind"),
        ({"waves_at": None}, "waves_at"),
        ({"issued_at": "2026-06-02T00:00:00Z"}, "times"),
        ({"times": TIMES[::-1]}, "times"),
    ],
)
def test_an_issue_that_cannot_be_is_refused_by_its_field(coastal, area, changes, field):
    client, _ = coastal
    found = problem(give(client, area=area, **changes), 422, "invalid-input")
    assert any(one["field"].startswith(field) for one in found["errors"]), found["errors"]
    assert listed(client, area=area) == []


def test_all_faults_are_told_at_once(coastal, area):
    client, _ = coastal
    values = {"wave_height_m": [-0.1, 1.0, 1.0], "wind_from_degree": [0.0, 400.0, 0.0]}
    found = problem(give(client, area=area, values=values), 422, "invalid-input")
    told = " ".join(one["field"] for one in found["errors"])
    assert "wave_height_m" in told
    assert "wind_from_degree" in told


def test_the_oldest_of_a_place_are_deleted(coastal, area):
    client, _ = coastal
    made = [
        give(client, area=area, issued_at=f"2026-05-2{day}T00:00:00Z").json()["items"][0]["id"] for day in (4, 3, 5)
    ]
    after = client.get("/v1/changes", params={"limit": 500}).json()["next_after"]
    newest = give(client, area=area, issued_at="2026-05-26T00:00:00Z").json()["items"][0]["id"]
    assert [one["id"] for one in listed(client, area=area)] == [made[0], made[2], newest]
    changed = client.get("/v1/changes", params={"after": after}).json()["items"]
    assert [(one["kind"], one["id"], one["change"]) for one in changed] == [
        ("condition", newest, "created"),
        ("condition", made[1], "deleted"),
    ]
    # By their values as well: three of 12 fit into 40, and one of 12 beside one of 24.
    more = {f"{name}": [1.0, 2.0, 3.0] for name in ("wave_height_m", "wind_speed_m_per_s", "wind_gust_m_per_s")}
    more |= {"air_temperature_c": [9.0, 9.0, 9.0], "sea_temperature_c": [9.0] * 3, "pressure_hpa": [1010.0] * 3}
    more |= {"rain_mm_per_h": [0.0] * 3, "cloud_cover_percent": [50.0] * 3}
    large = give(client, area=area, issued_at="2026-05-27T00:00:00Z", values=more).json()["items"][0]
    assert large["values_count"] == 24
    assert [one["id"] for one in listed(client, area=area)] == [newest, large["id"]]


def test_an_old_issue_that_comes_late_stays_until_the_next(coastal, area):
    client, _ = coastal
    for day in (4, 5, 6):
        assert give(client, area=area, issued_at=f"2026-05-2{day}T00:00:00Z").status_code == 201
    late = give(client, area=area, issued_at="2026-05-20T00:00:00Z").json()["items"][0]["id"]
    assert late in [one["id"] for one in listed(client, area=area)]


def test_an_issue_of_too_many_values_is_refused(coastal, area):
    client, _ = coastal
    times = [f"2026-06-01T{hour:02d}:00:00Z" for hour in range(21)]
    values = {"wind_speed_m_per_s": [5.0] * 21, "wind_gust_m_per_s": [7.0] * 21}
    found = problem(give(client, area=area, times=times, values=values), 422, "too-many-values")
    assert (found["limit"], found["setting"]) == (MOST_VALUES, "EBBMARK_MAX_CONDITION_VALUES")


def test_a_request_sent_again_is_done_once(coastal, area):
    client, _ = coastal
    headers = {"Idempotency-Key": f"key-{area.replace(' ', '-')}"}
    first, again = give(client, headers, area=area), give(client, headers, area=area)
    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["location"] == first.headers["location"]
    problem(give(client, headers, area=area, source="Another"), 422, "idempotency-key-reused")


def test_pages_go_through_all_issues_of_a_place(coastal, area):
    client, _ = coastal
    made = [give(client, area=area, source=f"Source {one}").json()["items"][0]["id"] for one in range(3)]
    found, cursor = [], None
    for _ in range(3):
        query = {"area": area, "limit": 1, **({} if cursor is None else {"cursor": cursor})}
        page = client.get("/v1/conditions", params=query).json()
        found += [one["id"] for one in page["items"]]
        cursor = page["next_cursor"]
    assert (found, cursor) == (made, None)
    everything, cursor = [], None
    while True:
        query = {"limit": 2, **({} if cursor is None else {"cursor": cursor})}
        page = client.get("/v1/conditions", params=query).json()
        everything += [one["id"] for one in page["items"]]
        cursor = page["next_cursor"]
        if cursor is None:
            break
    assert everything == sorted(everything)
    assert set(made) <= set(everything)
    problem(client.get("/v1/conditions", params={"cursor": "eA"}), 422, "cursor-invalid")


def test_the_conditions_of_a_mark_go_with_it(coastal):
    client, coast = coastal
    made = give(client, mark_id=coast.mark).headers["location"]
    assert client.delete(f"/v1/marks/{coast.mark}", headers={"If-Match": "*"}).status_code == 204
    problem(client.get(made), 404, "not-found")
