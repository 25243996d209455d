"""Marks with offsets over HTTP: their tide, and what is refused."""

from __future__ import annotations

import json
from time import monotonic, sleep
from typing import Any

import numpy as np
import pytest

from tests.service.coast import SPAN, example
from tests.service.problems import problem

OFFSETS: dict[str, Any] = {
    "standard_zone": "+01:00",
    "high_water": {
        "times": [{"clock_h": 0, "later_min": 35}, {"clock_h": 6, "later_min": 23}],
        "heights": {"kind": "ratio", "ratio": 1.2},
    },
    "low_water": {
        "times": [{"clock_h": 0, "later_min": 20}],
        "heights": {
            "kind": "differences",
            "springs": {"station_height_m": 0.6, "higher_m": 0.1},
            "neaps": {"station_height_m": 1.9, "higher_m": 0.3},
        },
    },
    "datum": "invented chart datum",
}
MERGE = "application/merge-patch+json"


def post(client, **changes):
    return client.post("/v1/marks", json={**example("create_mark"), "external_ref": None, **changes})


def test_a_mark_with_offsets_is_made_read_and_changed(coastal):
    client, _ = coastal
    made = post(client, offsets=OFFSETS)
    assert made.status_code == 201, made.text
    place = made.headers["location"]
    shown = client.get(place).json()["offsets"]
    assert shown["high_water"] == OFFSETS["high_water"]
    assert shown["low_water"]["heights"] == OFFSETS["low_water"]["heights"]
    assert (shown["standard_zone"], shown["datum"]) == ("+01:00", "invented chart datum")
    edit = {"If-Match": "*", "content-type": MERGE}
    patched = client.patch(place, json={"offsets": {"standard_zone": "+00:00"}}, headers=edit).json()
    assert (patched["version"], patched["offsets"]["standard_zone"]) == (2, "+00:00")
    assert client.get(place, params={"version": 1}).json()["offsets"]["standard_zone"] == "+01:00"
    gone = client.patch(place, json={"offsets": None}, headers=edit).json()
    assert (gone["version"], gone["offsets"]) == (3, None)


def test_timeline_and_windows_are_of_the_marks_own_tide(coastal):
    client, coast = coastal
    mark = post(client, offsets=OFFSETS).json()["id"]
    found = client.get(f"/v1/marks/{mark}/timeline", params={**SPAN, "step": "1min"}).json()
    assert found["datum"] == "invented chart datum"
    assert found["time_zone"] == client.get(f"/v1/marks/{mark}").json()["time_zone"]
    assert found["date_local"] == "2026-06-01"
    extremes = client.get(f"/v1/stations/{coast.station}/extremes", params=SPAN).json()
    highs = [
        np.datetime64(t.removesuffix("Z"))
        for t, k in zip(extremes["times"], extremes["kinds"], strict=True)
        if k == "high"
    ]
    heights = [h for h, k in zip(extremes["heights_m"], extremes["kinds"], strict=True) if k == "high"]
    level = np.array(found["columns"]["height"])
    hours = np.array(found["columns"]["hours_from_hw"])
    at = np.flatnonzero(np.abs(hours) < 0.01)
    times = np.datetime64("2026-06-01T00:00") + at.astype("timedelta64[m]")
    for high, height in zip(highs, heights, strict=True):
        # By the clock of +01:00: 35 min at midnight down to 23 at six, and back over the rest of the day.
        clock = float((high - np.datetime64("2026-06-01T00:00")) / np.timedelta64(1, "h") + 1.0) % 24.0
        later = 35 - 12 * clock / 6 if clock <= 6 else 23 + 12 * (clock - 6) / 18
        expected = high + np.timedelta64(round(60 * later), "s")
        if expected >= np.datetime64("2026-06-02"):
            continue
        nearest = at[np.argmin(np.abs(times - expected))]
        assert abs(times[np.argmin(np.abs(times - expected))] - expected) <= np.timedelta64(60, "s")
        assert level[nearest] == pytest.approx(1.2 * height, abs=0.003)
    search = {**SPAN, "mark_ids": [mark], "rule_ids": [coast.rule]}
    windows = client.post("/v1/windows/search", json=search).json()
    assert windows["marks"][0]["datum"] == "invented chart datum"


def test_high_and_low_waters_at_a_mark_are_its_own(coastal):
    client, coast = coastal
    mark = post(client, offsets=OFFSETS).json()["id"]
    wide = {"start": "2026-05-31T00:00:00Z", "end": "2026-06-03T00:00:00Z"}
    station = client.get(f"/v1/stations/{coast.station}/extremes", params=wide).json()
    same = client.get(f"/v1/marks/{coast.mark}/extremes", params=wide).json()
    for name in ("times", "heights_m", "kinds", "ranks", "datum"):
        assert same[name] == station[name]
    assert set(same["heights_held"]) == {False}
    response = client.get(f"/v1/marks/{mark}/extremes", params=SPAN)
    found = response.json()
    assert found["datum"] == "invented chart datum"
    assert found["kinds"].count("high") in (1, 2)
    for time, height, kind in zip(found["times"], found["heights_m"], found["kinds"], strict=True):
        # Between 20 and 35 min after the station's, and of the height that the tables state.
        gaps = [np.datetime64(time[:-1]) - np.datetime64(one[:-1]) for one in station["times"]]
        k = next(k for k, gap in enumerate(gaps) if np.timedelta64(19, "m") < gap < np.timedelta64(36, "m"))
        assert station["kinds"][k] == kind
        level = station["heights_m"][k]
        stated = 1.2 * level if kind == "high" else level + 0.1 + 0.2 * (level - 0.6) / 1.3
        assert height == pytest.approx(stated, abs=0.0021)
    again = client.get(f"/v1/marks/{mark}/extremes", params=SPAN, headers={"If-None-Match": response.headers["etag"]})
    assert again.status_code == 304
    primary = client.get(f"/v1/marks/{mark}/extremes", params={**SPAN, "secondary": False}).json()
    assert all(primary["primary"])
    problem(client.get(f"/v1/marks/{coast.bare_mark}/extremes", params=SPAN), 409, "no-model")


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"low_water": {"times": [{"clock_h": 0, "later_min": -600}]}}, "at or before"),
        (
            {"high_water": {"times": OFFSETS["high_water"]["times"], "heights": {"kind": "ratio", "ratio": 0.05}}},
            "at or below",
        ),
    ],
)
def test_offsets_that_make_no_tide_are_a_clear_problem(coastal, changes, told):
    client, _ = coastal
    found = problem(post(client, offsets=OFFSETS | changes), 422, "invalid-input", "offsets")
    assert told in found["errors"][0]["problem"]


def test_lags_that_fold_are_refused_when_the_mark_is_made(coastal):
    client, coast = coastal
    lags = {"after_hw_min": 240, "after_lw_min": -200}
    problem(post(client, slack_lags=lags), 422, "invalid-input", "slack_lags")
    # Where there is no tide yet nobody can tell.
    assert post(client, slack_lags=lags, station=coast.bare_station).status_code == 201


def test_a_search_names_the_mark_whose_lags_do_not_fit_the_tide(coastal):
    client, coast = coastal
    bare = {"name": "Shallow Point", "latitude": 51.0}
    station = client.post("/v1/stations", json=bare).json()["id"]
    lags = {"after_hw_min": 240, "after_lw_min": -200}
    folded = post(client, slack_lags=lags, station=station).json()["id"]
    tide = bare | {"model": example("create_station")["model"]}
    assert client.put(f"/v1/stations/{station}", json=tide, headers={"If-Match": "*"}).status_code == 200
    search = {**SPAN, "mark_ids": [coast.mark, folded], "rule_ids": [coast.rule]}
    for path in ("/v1/windows/search", "/v1/sessions/search"):
        problem(client.post(path, json=search), 422, "invalid-input", f"marks.{folded}.slack_lags")


def test_a_zone_with_summer_time_is_refused_with_every_other_fault(coastal):
    client, _ = coastal
    edit = {"If-Match": "*", "content-type": MERGE}
    place = post(client).headers["location"]
    bad = {"offsets": OFFSETS | {"standard_zone": "Europe/London", "tide": 1}, "kind": "lake"}
    found = problem(client.patch(place, json=bad, headers=edit), 422, "invalid-input")
    assert {one["field"] for one in found["errors"]} == {"offsets.standard_zone", "offsets.tide", "kind"}


def test_a_new_tide_of_the_station_that_the_offsets_do_not_fit_is_said_by_the_timeline(coastal):
    client, coast = coastal
    station = {**example("create_station"), "external_ref": None}
    made = client.post("/v1/stations", json=station).json()["id"]
    raised = {
        "kind": "differences",
        "springs": {"station_height_m": 0.6, "higher_m": 1.0},
        "neaps": {"station_height_m": 1.9, "higher_m": 1.2},
    }
    offsets = OFFSETS | {"low_water": OFFSETS["low_water"] | {"heights": raised}}
    mark = post(client, offsets=offsets, station=made).json()["id"]
    tide = station["model"]
    small = {name: one | {"amplitude_m": 0.05 * one["amplitude_m"]} for name, one in tide["constituents"].items()}
    edited = client.put(
        f"/v1/stations/{made}",
        json=station | {"model": tide | {"constituents": small, "mean_level_m": 0.2}},
        headers={"If-Match": "*"},
    )
    assert edited.status_code == 200, edited.text
    found = problem(client.get(f"/v1/marks/{mark}/timeline", params=SPAN), 422, "invalid-input", "offsets")
    assert "at or below" in found["errors"][0]["problem"]
    search = {**SPAN, "mark_ids": [coast.mark, mark], "rule_ids": [coast.rule]}
    for path in ("/v1/windows/search", "/v1/sessions/search"):
        problem(client.post(path, json=search), 422, "invalid-input", f"marks.{mark}.offsets")


def test_imported_marks_may_have_offsets_and_are_checked(serve):
    client = serve()
    client.post("/v1/stations", json={**example("create_station"), "external_ref": "roads"})
    row = {name: value for name, value in example("create_mark").items() if name != "external_ref"} | {
        "station": "roads"
    }
    upside = OFFSETS | {
        "high_water": {"times": [{"clock_h": 0, "later_min": 0}], "heights": {"kind": "ratio", "ratio": 0.05}}
    }
    rows = [
        row | {"client_ref": "good", "offsets": OFFSETS},
        row | {"client_ref": "bad", "offsets": upside},
        row | {"client_ref": "folded", "slack_lags": {"after_hw_min": 240, "after_lw_min": -200}},
    ]
    content = "".join(json.dumps(one) + "\n" for one in rows)
    sent = client.post("/v1/imports?kind=mark", content=content, headers={"content-type": "application/x-ndjson"})
    place = sent.headers["location"]
    ends = monotonic() + 60.0
    while client.get(place).json()["state"] in ("queued", "running"):
        assert monotonic() < ends, "the import does not end"
        sleep(0.02)
    lines = {one["client_ref"]: one for one in client.get(place + "/rows").json()["items"]}
    assert {ref: one["status"] for ref, one in lines.items()} == {
        "good": "created",
        "bad": "invalid",
        "folded": "invalid",
    }
    assert lines["bad"]["faults"][0]["field"] == "offsets"
    assert lines["folded"]["faults"][0]["field"] == "slack_lags"
