"""A gauge record over HTTP, from upload to an adopted model, and every record that cannot be taken."""

from __future__ import annotations

import io
import time
import zipfile

import pytest

from service.api.v1.schemas.fits import FitQuery
from tests.service.coast import SPAN, gauge_csv
from tests.service.problems import problem
from tests.tidecore.gauges.samples import SAMPLES
from tidecore.gauges import formats, gauge_reader

HINTS = {"format": "csv", "time": "time", "level": "level", "unit": "m", "datum": "gauge zero"}
CSV = {"content-type": "text/csv"}
#: As which some formats are sent; the others are text/plain.
MEDIA_TYPES = {
    "erddap-csv": "text/csv", "ioc-table": "text/html", "meds": "text/csv", "noaa-json": "application/json",
}  # fmt: skip


@pytest.fixture(scope="module")
def send(coastal):
    """Send a record to a station of its own, and wait for the end of its fit."""
    client, _ = coastal
    station = client.post("/v1/stations", json={"name": "Gauge Point", "latitude": 51.0}).json()["id"]

    def sent(content: bytes, **hints):
        params = {name: value for name, value in {**HINTS, **hints}.items() if value is not None}
        response = client.post(f"/v1/stations/{station}/fits", params=params, content=content, headers=CSV)
        assert response.status_code == 202, response.text
        ends = time.monotonic() + 60.0
        while True:
            fit = client.get(response.headers["location"]).json()
            if fit["state"] not in ("queued", "running"):
                return fit
            assert time.monotonic() < ends, "the fit is stuck"
            time.sleep(0.02)

    return sent


def test_a_record_becomes_a_model_that_is_adopted_and_served(coastal, send):
    client, _ = coastal
    fit = send(gauge_csv())
    assert (fit["state"], fit["problem"], fit["adopted_version"]) == ("done", None, None)
    assert (fit["record"]["rows"], fit["record"]["datum"], fit["record"]["format"]) == (960, "gauge zero", "csv")
    # The noise is a normal one of 0.02 m.
    assert fit["diagnostics"]["residual_rms_m"] == pytest.approx(0.02, rel=0.1)
    assert fit["diagnostics"]["skill"] is None
    choice = fit["diagnostics"]["choice"]
    assert choice["kind"] == "rayleigh"
    assert "too short" in choice["why"]
    assert fit["started_at"] <= fit["finished_at"]
    path = f"/v1/stations/{fit['station_id']}"
    problem(client.get(f"{path}/heights", params=SPAN), 409, "no-model")

    adopted = client.post(f"/v1/fits/{fit['id']}/adopt").json()
    assert adopted["adopted_version"] == 1
    assert client.post(f"/v1/fits/{fit['id']}/adopt").json() == adopted
    station = client.get(path).json()
    assert (station["current_version"], station["model"]["fit_id"], station["model"]["source"]) == (1, fit["id"], "fit")
    lines = client.get(f"{path}/constituents").json()
    # The tide that the record was made of.
    found = dict(zip(lines["names"], lines["amplitudes_m"], strict=True))
    assert found["S2"] == pytest.approx(0.7, abs=0.1)
    assert lines["mean_level_m"] == pytest.approx(3.0, abs=0.01)
    assert client.get(f"{path}/heights", params=SPAN).status_code == 200

    second = send(gauge_csv(60))
    client.post(f"/v1/fits/{second['id']}/adopt")
    assert client.get(path).json()["current_version"] == 2
    old, new = (client.get(f"{path}/heights", params={**SPAN, **more}).json() for more in ({"version": 1}, {}))
    assert (old["stations"][0]["version"], new["stations"][0]["version"]) == (1, 2)
    assert old["stations"][0]["heights_m"] != new["stations"][0]["heights_m"]
    listed = client.get(f"{path}/fits").json()["items"]
    assert [one["id"] for one in listed] == [fit["id"], second["id"]]


def test_parts_of_a_record_in_one_archive(send):
    parts = gauge_csv(80).splitlines(keepends=True)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("early.csv", b"".join(parts[:900]))
        archive.writestr("late.csv", b"".join([parts[0], *parts[1000:]]))
    fit = send(packed.getvalue(), constituents=["M2", "S2"])
    assert (fit["state"], fit["problem"]) == ("done", None)
    assert [one["format"] for one in fit["record"]["parts"]] == ["csv", "csv"]
    assert fit["diagnostics"]["values"] == len(parts) - 101
    assert fit["quality"]["found"].get("gap", 0) == 0
    assert fit["quality"]["not_evaluated"]["zone"].startswith("part 2")


@pytest.mark.parametrize(
    ("content", "hints", "slug", "says"),
    [
        (b"\x00\x01\x02" * 1000, {"format": None, "level": None, "time": None}, "record-not-recognised", "binary"),
        (b"\x00\x01\x02" * 1000, {}, "record-unreadable", ""),
        (gauge_csv()[:20_007].rsplit(b",", 1)[0], {}, "record-unreadable", ""),
        ("Zeit,Höhe\n2025-01-01T00:00Z,1\n".encode("latin-1"), {}, "record-unreadable", "UTF-8"),
        (gauge_csv(), {"unit": "fathom"}, "unknown-name", "fathom"),
        (gauge_csv(), {"unit": None}, "record-hint-missing", "unit"),
        (gauge_csv(), {"datum": None}, "record-hint-missing", "datum"),
        (gauge_csv().replace(b"Z,", b","), {}, "record-hint-missing", "zone"),
        (gauge_csv().replace(b"Z,", b","), {"zone": "Atlantis/Deep"}, "record-hint-missing", "zone"),
        (gauge_csv(), {"level": "depth"}, "unknown-name", "depth"),
        (gauge_csv(), {"format": "morse"}, "unknown-name", "morse"),
        (gauge_csv(), {"variable": "sea_level"}, "unknown-name", "variable"),
        (gauge_csv(1), {}, "record-too-short", "days"),
        (gauge_csv(level=2.5), {}, "record-constant", "2.5"),
        (gauge_csv(level=-99.0), {"missing": ["-99"]}, "record-", ""),
        (gauge_csv(), {"constituents": ["M2", "QQ9"]}, "unknown-name", "QQ9"),
        (b"time,level\n", {}, "record-unreadable", "no row"),
    ],
)  # fmt: skip
def test_a_record_that_cannot_be_taken_says_why(send, content, hints, slug, says):
    fit = send(content, **hints)
    assert fit["state"] == "failed"
    assert fit["problem"]["type"].startswith(f"/problems/{slug}"), fit["problem"]
    assert says in fit["problem"]["detail"]
    assert fit["problem"]["title"]


def test_all_that_has_to_be_said_of_a_record_is_asked_for_at_once(send):
    fit = send(gauge_csv().replace(b"Z,", b","), unit=None, datum=None)
    assert [one["field"] for one in fit["problem"]["errors"]] == ["datum", "unit", "zone"]


@pytest.mark.parametrize("name", SAMPLES)
def test_every_format_that_states_things_itself_can_be_fitted(coastal, name):
    client, _ = coastal
    sample, hints = SAMPLES[name]
    station = client.post("/v1/stations", json={"name": f"Gauge of {name}", "latitude": 50.1}).json()["id"]
    media_type = MEDIA_TYPES.get(name, "text/plain")
    response = client.post(
        f"/v1/stations/{station}/fits",
        params={**hints, "constituents": ["M2", "S2"]},
        content=sample(30 * 24).encode(),
        headers={"content-type": media_type},
    )
    assert response.status_code == 202, response.text
    ends = time.monotonic() + 60.0
    while (fit := client.get(response.headers["location"]).json())["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the fit is stuck"
        time.sleep(0.02)
    assert (fit["state"], fit["problem"]) == ("done", None)
    assert (fit["record"]["format"], fit["record"]["values"]) == (name, 720)
    # The noise is a normal one of 0.02 m.
    assert fit["diagnostics"]["residual_rms_m"] == pytest.approx(0.02, rel=0.1)


def test_a_file_of_several_stations_needs_to_know_which(send):
    names = "time (UTC),sea_level (m),station\n"
    rows = gauge_csv().decode().splitlines()[1:]
    table = names + "".join(f"{row},{place}\n" for place in ("Tarrowick", "Hollow Point") for row in rows)
    table = table.replace("Z,", ":00Z,")
    own = {"format": None, "time": None, "level": None, "unit": None}
    fit = send(table.encode(), **own)
    assert fit["problem"]["type"] == "/problems/record-ambiguous"
    assert "Hollow Point or Tarrowick; say which with gauge=" in fit["problem"]["detail"]
    fit = send(table.encode(), **own, gauge="Tarrowick")
    assert (fit["state"], fit["record"]["station"], fit["record"]["rows"]) == ("done", "Tarrowick", 960)


def test_every_hint_of_every_reader_can_be_given():
    # One name stands for two parameters, and one for a parameter more.
    others = {"valid_range": {"valid_min", "valid_max"}, "time": {"time", "time_fields"}}
    for name in formats():
        for hint in gauge_reader(name).hints:
            assert others.get(hint.name, {hint.name}) <= FitQuery.model_fields.keys(), (name, hint.name)


def test_a_failed_fit_cannot_be_adopted(coastal, send):
    client, _ = coastal
    fit = send(gauge_csv(1))
    found = problem(client.post(f"/v1/fits/{fit['id']}/adopt"), 409, "fit-not-done")
    assert "failed" in found["detail"]


def test_duplicates_and_a_clock_that_runs_backwards_are_counted(send):
    rows = gauge_csv().decode().splitlines()
    rows = [*rows[:100], rows[99], *rows[300:320], *rows[100:300], *rows[320:]]
    fit = send("\n".join(rows).encode())
    assert fit["state"] == "done"
    assert (fit["record"]["duplicates"], fit["record"]["unsorted"]) == (1, 1)


@pytest.mark.parametrize("key", ["fit_0", "nonsense"])
def test_an_unknown_fit_is_not_found(coastal, key):
    client, _ = coastal
    problem(client.get(f"/v1/fits/{key}"), 404, "not-found")
    problem(client.post(f"/v1/fits/{key}/adopt"), 404, "not-found")


def test_an_unknown_station_takes_no_record(coastal, tmp_path):
    client, _ = coastal
    problem(client.post("/v1/stations/stn_0/fits", content=gauge_csv(1), headers=CSV), 404, "not-found")
    assert [path.name for path in client.app.state.house.settings.spool_folder.iterdir()] == []


@pytest.mark.parametrize(
    ("params", "slug", "field"),
    [
        ({"latitude": "95"}, "invalid-request", "latitude"),
        ({"latitude": "nan"}, "invalid-request", "latitude"),
        ({"method": "magic"}, "invalid-request", "method"),
        ({"skip_rows": "-1"}, "invalid-request", "skip_rows"),
        ({"skip_rows": "1e9"}, "invalid-request", "skip_rows"),
        ({"units": "m"}, "invalid-input", "units"),
        ({"valid_min": "0"}, "invalid-input", "valid_min"),
        ({"time": "time", "time_fields": "year:0"}, "invalid-input", "time_fields"),
        ({"time_fields": "year=0"}, "invalid-input", "time_fields"),
        ({"time_fields": "year:0,year:1"}, "invalid-input", "time_fields"),
        ({"time_fields": "aeon:0"}, "invalid-input", "time_fields"),
    ],
)
def test_bad_hints_are_refused_at_once(coastal, params, slug, field):
    client, coast = coastal
    response = client.post(f"/v1/stations/{coast.bare_station}/fits", params=params, content=b"x", headers=CSV)
    problem(response, 422, slug, field)


def test_an_empty_record_is_refused(coastal):
    client, coast = coastal
    path = f"/v1/stations/{coast.bare_station}/fits"
    problem(client.post(path, content=b"", headers=CSV), 422, "invalid-input", "body")


@pytest.mark.parametrize("given", ["image/png", "application/xml", "multipart/form-data; boundary=x"])
def test_another_content_type_is_refused(coastal, given):
    client, coast = coastal
    path = f"/v1/stations/{coast.bare_station}/fits"
    problem(client.post(path, content=b"x", headers={"content-type": given}), 415, "media-not-supported")


@pytest.mark.parametrize("chunked", [False, True])
def test_a_record_over_the_limit_is_refused_and_leaves_nothing(serve, tmp_path, chunked):
    client = serve(max_upload_bytes=100_000)
    station = client.post("/v1/stations", json={"name": "Gauge Point", "latitude": 51.0}).json()["id"]
    content = (b"x" * 50_000 for _ in range(3)) if chunked else b"x" * 100_001
    response = client.post(f"/v1/stations/{station}/fits", content=content, headers=CSV)
    found = problem(response, 413, "body-too-large")
    assert (found["limit"], found["setting"]) == (100_000, "EBBMARK_MAX_UPLOAD_BYTES")
    spool = tmp_path / "store" / "uploads"
    assert not spool.exists() or list(spool.iterdir()) == []
    assert client.get(f"/v1/stations/{station}/fits").json()["items"] == []


@pytest.mark.parametrize("path", ["/v1/stations/{station}/fits", "/v1/imports?kind=mark"], ids=["records", "rows"])
def test_a_spool_folder_that_cannot_be_written_is_said(serve, tmp_path, path):
    (tmp_path / "file").write_text("")
    client = serve(spool=tmp_path / "file" / "uploads")
    station = client.post("/v1/stations", json={"name": "Gauge Point", "latitude": 51.0}).json()["id"]
    refused = client.post(path.format(station=station), content=b"time,level\n", headers=CSV)
    said = problem(refused, 503, "store-unavailable")
    assert "EBBMARK_SPOOL" in said["detail"]
    assert refused.headers["retry-after"]


def test_a_sparse_file_over_64_mebibytes_is_refused(coastal, tmp_path):
    client, coast = coastal
    sparse = tmp_path / "sparse.csv"
    with sparse.open("wb") as file:
        file.truncate(64 * 1024 * 1024 + 1)
    with sparse.open("rb") as file:
        path = f"/v1/stations/{coast.bare_station}/fits"
        found = problem(client.post(path, content=file, headers=CSV), 413, "body-too-large")
    assert found["limit"] == 64 * 1024 * 1024
    assert [path.name for path in client.app.state.house.settings.spool_folder.iterdir()] == []


def test_hints_reach_the_reader_as_they_are_meant():
    from service.api.v1.schemas.fits import FitQuery

    query = FitQuery(
        time_fields="year:0,month:1,day:2,hour:name", level="3", flag="quality", missing=["-99", "NA"],
        flag_bad=["4"], valid_min=-1.0, valid_max=9.0, header=False, skip_rows=2, trend=True, constituents=["M2", "S2"],
    )  # fmt: skip
    request = query.to_request()
    assert request.hints == {
        "time": {"year": 0, "month": 1, "day": 2, "hour": "name"}, "level": 3, "flag": "quality",
        "missing": [-99.0, "NA"], "flag_bad": [4.0], "valid_range": [-1.0, 9.0], "header": False, "skip_rows": 2,
    }  # fmt: skip
    options = {"nodal": "exact", "trend": True, "method": "ols", "quality": "check", "constituents": ["M2", "S2"]}
    assert request.options == options
    # What is no finite number stays the text that it is in the record.
    assert FitQuery(missing=["nan", "1e999", "-1"]).to_request().hints == {"missing": ["nan", "1e999", -1.0]}
    assert FitQuery(time=["0"]).to_request().hints == {"time": 0}
    assert FitQuery(time=["date", "1"]).to_request().hints == {"time": ["date", 1]}
    assert FitQuery(constituents=["auto"]).to_request().options == FitQuery().to_request().options


@pytest.mark.parametrize(
    ("given", "taken"), [(None, None), (["auto"], None), (["rayleigh"], "rayleigh"), (["M2", "4MSN8"], ["M2", "4MSN8"])]
)
def test_constituents_are_chosen_resolved_or_given(given, taken):
    assert FitQuery(constituents=given).to_request().options.get("constituents") == taken
