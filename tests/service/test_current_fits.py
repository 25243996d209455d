"""Fits of the current at a mark over HTTP."""

from __future__ import annotations

import time

import numpy as np
import pytest

from tests.service.coast import example
from tests.service.problems import problem

OFFSETS = {
    "standard_zone": "+00:00",
    "high_water": {"times": [{"clock_h": 0, "later_min": 30}]},
    "low_water": {"times": [{"clock_h": 0, "later_min": 30}]},
}


@pytest.fixture(scope="module")
def record(coastal):
    """A record of a stream that runs 75 min behind the level of the station, towards 30 degrees on the flood."""
    client, coast = coastal
    span = {"start": "2026-05-31T22:45:00Z", "end": "2026-07-01T22:45:00Z", "step": "30min"}
    index = np.array(client.get(f"/v1/stations/{coast.station}/flow", params=span).json()["flow_index"])
    east, north = 0.8 * index * np.sin(np.radians(30)), 0.8 * index * np.cos(np.radians(30))
    return {
        "start": "2026-06-01T00:00:00Z",
        "step_s": 1800,
        "east_m_per_s": east.round(4).tolist(),
        "north_m_per_s": [None, *north.round(4).tolist()[1:]],
    }


def ended(client, sent):
    assert sent.status_code == 202, sent.text
    place, ends = sent.headers["location"], time.monotonic() + 60.0
    while (job := client.get(place).json())["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the fit is stuck"
        time.sleep(0.05)
    return job


def test_a_record_tells_axis_lags_and_rates_for_the_mark(coastal, record):
    client, _ = coastal
    mark = client.post("/v1/marks", json={**example("create_mark"), "external_ref": None, "offsets": OFFSETS}).json()
    sent = client.post(f"/v1/marks/{mark['id']}/current-fits", json=record)
    assert sent.json()["kind"] == "current_fit"
    job = ended(client, sent)
    assert job["state"] == "done", job
    found = job["result"]
    assert found["mark_id"] == mark["id"]
    assert found["flood_towards_deg"] == pytest.approx(30.0, abs=0.5)
    assert found["values"] == len(record["east_m_per_s"]) - 1
    # 75 min behind the station's level is 45 behind that of the mark, which is half an hour later.
    for side in ("after_hw", "after_lw"):
        assert found["slack_lags"][f"{side}_min"] == found[side]["lag_min"] == pytest.approx(45.0, abs=3.0)
        assert found[side]["low_min"] <= found[side]["lag_min"] <= found[side]["high_min"]
    assert found["stream_rates"]["spring_flood_m_per_s"] == pytest.approx(0.8, rel=0.1)
    changes = {"slack_lags": found["slack_lags"], "stream_rates": found["stream_rates"]}
    headers = {"If-Match": "*", "content-type": "application/merge-patch+json"}
    assert client.patch(f"/v1/marks/{mark['id']}", json=changes, headers=headers).json()["version"] == 2
    span = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-08T00:00:00Z", "factor": "stream_speed"}
    speed = np.array(client.get(f"/v1/marks/{mark['id']}/timeline", params=span).json()["columns"]["stream_speed"])
    assert 0.3 < speed.max() < 1.1
    assert speed.min() < -0.3


def test_one_component_is_a_clear_problem(coastal, record):
    client, coast = coastal
    alone = {name: value for name, value in record.items() if name != "north_m_per_s"}
    found = problem(
        client.post(f"/v1/marks/{coast.mark}/current-fits", json=alone), 422, "invalid-input", "north_m_per_s"
    )
    assert "both components" in found["errors"][0]["expected"]
    short = record | {
        "north_m_per_s": record["north_m_per_s"][:-1],
        "east_m_per_s": [99.0, *record["east_m_per_s"][1:]],
    }
    problem(
        client.post(f"/v1/marks/{coast.mark}/current-fits", json=short), 422, "invalid-input",
        "east_m_per_s.0", "north_m_per_s",
    )  # fmt: skip


def test_what_cannot_be_fitted_is_said(coastal, record):
    client, coast = coastal
    few = {name: value[:200] if isinstance(value, list) else value for name, value in record.items()}
    job = ended(client, client.post(f"/v1/marks/{coast.mark}/current-fits", json=few))
    assert (job["state"], job["problem"]["type"]) == ("failed", "/problems/record-too-short")
    problem(client.post(f"/v1/marks/{coast.bare_mark}/current-fits", json=record), 409, "no-model")
    problem(client.post("/v1/marks/mrk_0/current-fits", json=record), 404, "not-found")
    still = record | {name: [0.5] * 1000 for name in ("east_m_per_s", "north_m_per_s")}
    job = ended(client, client.post(f"/v1/marks/{coast.mark}/current-fits", json=still))
    assert (job["state"], job["problem"]["type"]) == ("failed", "/problems/slack-undetermined")
