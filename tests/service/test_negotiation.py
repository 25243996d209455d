"""The Accept header: the examples of RFC 9110, section 12.5.1, and what the routes make of it."""

from __future__ import annotations

import pytest

from service.api.negotiation import (
    COVERAGEJSON,
    CSV,
    GEOJSON,
    ICALENDAR,
    JSON,
    NETCDF,
    SVG,
    TEXT,
    choose,
    quality,
    read_accept,
)
from service.errors import NotAcceptable
from tests.service.coast import SPAN, example
from tests.service.problems import problem

OFFERED = (JSON, CSV, COVERAGEJSON, NETCDF)

#: The example of RFC 9110 with its table of qualities.
RFC_EXAMPLE = (
    "text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed,\r\n text/plain;format=fixed;q=0.4, */*;q=0.5"
).replace("\r\n", "")


@pytest.mark.parametrize(
    ("media_type", "expected"),
    [
        ("text/plain;format=flowed", 1.0),
        ("text/plain", 0.7),
        ("text/html", 0.3),
        ("image/jpeg", 0.5),
        ("text/plain;format=fixed", 0.4),
        ("text/html;level=3", 0.3),
    ],
)
def test_qualities_are_those_of_the_standard(media_type, expected):
    assert quality(read_accept(RFC_EXAMPLE), media_type) == expected


def test_other_examples_of_the_standard():
    audio = read_accept("audio/*; q=0.2, audio/basic")
    assert (quality(audio, "audio/basic"), quality(audio, "audio/mpeg"), quality(audio, "text/html")) == (1.0, 0.2, 0.0)
    texts = read_accept("text/plain; q=0.5, text/html, text/x-dvi; q=0.8, text/x-c")
    wanted = ("text/html", "text/x-c", "text/x-dvi", "text/plain")
    assert [quality(texts, one) for one in wanted] == [1.0, 1.0, 0.8, 0.5]


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (None, JSON),
        ("", JSON),
        ("*/*", JSON),
        ("application/json", JSON),
        ("APPLICATION/JSON", JSON),
        ("application/json; charset=utf-8", JSON),
        ('application/json;charset="UTF-8"', JSON),
        ("text/csv", CSV),
        ("text/csv;header=present", CSV),
        ("text/*", CSV),
        ("text/csv, application/json;q=0.9", CSV),
        ("text/csv;q=0.1, application/json;q=0.9", JSON),
        ("text/csv;q=0.9, */*;q=0.1", CSV),
        ("text/csv, */*", CSV),
        ("text/html,application/xhtml+xml,*/*;q=0.8", JSON),
        ("application/*", JSON),
        ("application/json;q=0, */*", CSV),
        ("application/json;q=0, application/*;q=0.5", COVERAGEJSON),
        ("application/netcdf;q=0.001, text/html", NETCDF),
        ("application/prs.coverage+json", COVERAGEJSON),
        ("text/csv ; q=0.5 , application/netcdf ;q=1.000", NETCDF),
        (", ,text/csv,,", CSV),
        # A member that is no media range is as good as not there.
        ("csv, application/netcdf", NETCDF),
        ("text/csv;q=2, application/netcdf;q=0.5", NETCDF),
        ('text/csv;note="a, b", application/netcdf;q=0.5', NETCDF),
    ],
)
def test_the_form_most_wanted_is_chosen(header, expected):
    assert choose(header, OFFERED) == expected


@pytest.mark.parametrize(
    "header",
    ["text/html", "image/*", "*/*;q=0", "text/csv;q=0", "csv", "*/json", "application/json;version=2", "text/csv;q=x"],
)
def test_what_fits_nothing_is_refused(header):
    with pytest.raises(NotAcceptable) as caught:
        choose(header, OFFERED)
    assert caught.value.available == OFFERED


def test_a_long_header_costs_little():
    assert choose("text/html;a=b," * 2000 + "text/csv", OFFERED) == CSV
    with pytest.raises(NotAcceptable):
        choose('a/b;c="' + "\\" * 20_000, OFFERED)


def test_a_form_that_there_is_not_is_a_problem(coastal):
    client, coast = coastal
    for path, there_is in (
        (f"/v1/stations/{coast.station}/heights", OFFERED),
        (f"/v1/stations/{coast.station}/flow", OFFERED),
        (f"/v1/marks/{coast.mark}/timeline", OFFERED),
        (f"/v1/stations/{coast.station}/extremes", (JSON, CSV, COVERAGEJSON)),
    ):
        found = problem(client.get(path, params=SPAN, headers={"accept": "image/png"}), 406, "not-acceptable")
        assert found["available"] == list(there_is)
    path = f"/v1/stations/{coast.station}/constituents"
    found = problem(client.get(path, headers={"accept": NETCDF}), 406, "not-acceptable")
    assert found["available"] == [JSON, CSV]
    body = example("search_windows")
    problem(client.post("/v1/windows/search", json=body, headers={"accept": NETCDF}), 406, "not-acceptable")


def test_several_headers_are_one_list(coastal):
    client, coast = coastal
    headers = [("accept", "application/json;q=0.5"), ("accept", "text/csv")]
    response = client.get(f"/v1/stations/{coast.station}/heights", params=SPAN, headers=headers)
    assert response.headers["content-type"] == "text/csv; charset=utf-8; header=present"


def test_every_form_that_is_offered_is_declared(coastal):
    client, _ = coastal
    paths = client.get("/openapi.json").json()["paths"]
    declared = {
        (path, form): answer
        for path, item in paths.items()
        for operation in item.values()
        for form, answer in operation["responses"].get("200", {}).get("content", {}).items()
    }
    all_forms = {"/v1/heights", "/v1/flow", "/v1/timelines", "/v1/stations/{station_id}/heights",
                 "/v1/stations/{station_id}/flow", "/v1/marks/{mark_id}/timeline"}  # fmt: skip
    expected = {(path, form) for path in all_forms for form in OFFERED}
    turns = ("/v1/extremes", "/v1/stations/{station_id}/extremes", "/v1/marks/{mark_id}/extremes")
    expected |= {(path, form) for path in turns for form in OFFERED[:3]}
    tables = ("/v1/stations/{station_id}/constituents", "/v1/stations/{station_id}/datums", "/v1/windows/search",
              "/v1/marks/{mark_id}/conditions")  # fmt: skip
    expected |= {(path, CSV) for path in tables}
    expected.add(("/v1/stations/{station_id}/summary", SVG))
    expected.add(("/v1/queryables", "application/schema+json"))
    expected |= {(path, GEOJSON) for path in ("/v1/marks", "/v1/marks/{mark_id}")}
    expected |= {("/v1/queryables", "application/schema+json"), ("/v1/marks/{mark_id}/now", TEXT)}
    expected |= {("/v1/sessions/contact-note", form) for form in (TEXT, ICALENDAR)}
    expected |= {("/v1/plans/{plan_id}/calendar", form) for form in (ICALENDAR, CSV)}
    expected.add(("/v1/feeds/{token}.ics", ICALENDAR))
    of_plan = "/v1/plans/{plan_id}/marks/{mark_id}"
    expected |= {(f"{of}/chart", form) for of in ("/v1/marks/{mark_id}", of_plan) for form in (SVG, "image/png")}
    expected |= {(f"{of}/sheet", "text/html") for of in ("/v1/marks/{mark_id}", of_plan)}
    expected |= {("/v1/exports/trips", form) for form in ("application/x-ndjson", CSV, "application/zip")}
    expected |= {("/v1/exports/diary-rows", form) for form in ("application/x-ndjson", CSV)}
    assert {one for one in declared if one[1] != JSON} == {one for one in expected if one[1] != JSON}
    assert all("schema" in answer or "example" in answer for answer in declared.values())
    assert all(answer["example"].endswith("\r\n") for (_, form), answer in declared.items() if form == CSV)
