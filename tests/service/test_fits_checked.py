"""The quality of a record over HTTP: counts with the fit, findings as a resource of their own."""

from __future__ import annotations

import time

import pytest

from tests.service.coast import gauge_csv
from tests.service.problems import problem

HINTS = {"format": "csv", "time": "time", "level": "level", "unit": "m", "datum": "gauge zero"}


def spoilt() -> bytes:
    """A month of the gauge with one value that is none."""
    lines = gauge_csv(30).decode().splitlines()
    stamp, level = lines[400].split(",")
    lines[400] = f"{stamp},{float(level) + 2.0:.3f}"
    return "\n".join(lines).encode()


@pytest.fixture(scope="module")
def fits(coastal):
    """The same record, checked and not."""
    client, _ = coastal
    station = client.post("/v1/stations", json={"name": "Spike Point", "latitude": 51.0}).json()["id"]
    made = {}
    for how in ("check", "off"):
        answer = client.post(
            f"/v1/stations/{station}/fits",
            params={**HINTS, "quality": how},
            content=spoilt(),
            headers={"content-type": "text/csv"},
        )
        assert answer.status_code == 202, answer.text
        ends = time.monotonic() + 60.0
        while (fit := client.get(answer.headers["location"]).json())["state"] in ("queued", "running"):
            assert time.monotonic() < ends, "the fit is stuck"
            time.sleep(0.02)
        assert (fit["state"], fit["problem"]) == ("done", None)
        made[how] = fit
    return made


def test_a_fit_shows_what_its_check_came_to(fits):
    quality = fits["check"]["quality"]
    assert quality["left_out"] == quality["flags"]["spike"]["fail"] == quality["found"]["spike"] == 1
    assert quality["not_evaluated"] == {"zone": "no neighbour is named"}
    assert "quality" not in fits["check"]["diagnostics"]
    assert fits["check"]["diagnostics"]["missing"] == fits["off"]["diagnostics"]["missing"] + 1
    assert fits["off"]["quality"] is None


def test_the_findings_are_a_resource_of_their_own(coastal, fits):
    client, _ = coastal
    answer = client.get(f"/v1/fits/{fits['check']['id']}/quality")
    assert answer.status_code == 200
    report = answer.json()
    (spike,) = report["findings"]
    assert (spike["test"], spike["handling"], spike["values"], spike["unit"]) == ("spike", "left_out", 1, "m")
    assert spike["size"] == pytest.approx(2.0, abs=0.2)
    assert spike["advice"]
    assert {name: report[name] for name in fits["check"]["quality"]} == fits["check"]["quality"]


def test_a_record_that_was_not_checked_has_no_quality(coastal, fits):
    client, _ = coastal
    found = problem(client.get(f"/v1/fits/{fits['off']['id']}/quality"), 409, "fit-not-checked")
    assert "quality=check" in found["detail"]
