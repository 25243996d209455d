"""Instants in and out."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime

import numpy as np
import pytest
from pydantic_core import PydanticCustomError

from service.api.instants import local_date, read_instant, write_instant, write_instants
from tests.service.problems import problem

BERG = zoneinfo.ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("2026-01-31T06:00:00Z", datetime(2026, 1, 31, 6, tzinfo=UTC)),
        ("2026-01-31t06:00z", datetime(2026, 1, 31, 6, tzinfo=UTC)),
        ("2026-01-31T06:00:00.250+01:00", datetime(2026, 1, 31, 5, 0, 0, 250_000, tzinfo=UTC)),
        ("2026-01-31T23:30:00-05:00", datetime(2026, 2, 1, 4, 30, tzinfo=UTC)),
    ],
)
def test_an_instant_with_its_offset_is_read(text, read):
    assert read_instant(text) == read


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2026-01-31T06:00:00", "no offset"),
        ("2026-01-31", "no instant"),
        ("1767225600", "no instant"),
        (1767225600, "no text"),
        (True, "no text"),
        ("2026-02-30T06:00:00Z", "calendar"),
        ("2026-01-31T24:01:00Z", "calendar"),
        ("2026-01-31T06:00:00 01:00", "%2B"),
        ("0001-01-01T00:00:00+14:00", "calendar"),
        ("", "no instant"),
        ("\u0662026-01-31T06:00:00Z", "no instant"),
    ],
)
def test_what_is_no_instant_says_what_would_be(text, says):
    with pytest.raises(PydanticCustomError, match=says):
        read_instant(text)


def test_instants_are_written_to_the_nearest_second():
    times = np.array(["2026-03-29T00:59:59.600000", "NaT", "1969-12-31T23:59:58.400000"], dtype="datetime64[us]")
    assert write_instants(times) == ["2026-03-29T01:00:00Z", None, "1969-12-31T23:59:58Z"]
    assert write_instants(times, BERG) == ["2026-03-29T03:00:00+02:00", None, "1970-01-01T00:59:58+01:00"]
    assert write_instant(times[0]) == "2026-03-29T01:00:00Z"
    assert write_instant(datetime(2026, 1, 1, tzinfo=UTC), BERG) == "2026-01-01T01:00:00+01:00"
    assert write_instant(0) == "1970-01-01T00:00:00Z"


def test_the_local_date_is_that_of_the_clocks_there():
    assert local_date(np.datetime64("2026-06-01T22:30", "us"), BERG) == "2026-06-02"


@pytest.mark.parametrize(
    ("changes", "slug", "field"),
    [
        ({"start": "2026-06-01T00:00:00"}, "invalid-request", "start"),
        ({"end": "yesterday"}, "invalid-request", "end"),
        ({"start": "2026-06-01T00:00:00+01:00".replace("+", " ")}, "invalid-request", "start"),
        ({"end": "2026-06-01T00:00:00Z"}, "invalid-span", "end"),
        ({"end": "2026-05-01T00:00:00Z"}, "invalid-span", "end"),
        ({"start": "1600-01-01T00:00:00Z"}, "invalid-span", "start"),
        ({"end": "2300-01-01T00:00:00Z"}, "invalid-span", "end"),
        ({"step": "0min"}, "invalid-request", "step"),
        ({"step": "10"}, "invalid-request", "step"),
        ({"step": "-1h"}, "invalid-request", "step"),
        ({"step": "10 fortnights"}, "invalid-request", "step"),
        ({"tz": "Nowhere/Land"}, "invalid-input", "tz"),
        ({"tz": "../../etc/passwd"}, "invalid-input", "tz"),
        ({"tz": "/etc/localtime"}, "invalid-input", "tz"),
        ({"tz": "a\x00b"}, "invalid-input", "tz"),
        ({"tz": ""}, "invalid-input", "tz"),
        ({"version": "0"}, "invalid-request", "version"),
        ({"version": "one"}, "invalid-request", "version"),
    ],
)
@pytest.mark.parametrize("resource", ["heights", "flow"])
def test_a_bad_span_step_or_zone_is_refused(coastal, resource, changes, slug, field):
    client, coast = coastal
    params = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-02T00:00:00Z", **changes}
    problem(client.get(f"/v1/stations/{coast.station}/{resource}", params=params), 422, slug, field)


def test_all_faults_come_at_once(coastal):
    client, coast = coastal
    response = client.get(f"/v1/stations/{coast.station}/heights", params={"start": "x", "step": "y", "version": "z"})
    found = problem(response, 422, "invalid-request", "start", "end", "step", "version")
    assert {fault["in"] for fault in found["errors"]} == {"query"}
