"""The demo coast, started once as a user starts it: what it prints, the calls of README and guides, and the recipes.

Each recipe of openapi/cookbook is run as a reader would. All of it is in one file, so that one server does.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import subprocess
import sys
import urllib.request
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.house.examples import guide, run_shell, showing
from tests.house.tree import ROOT

COOKBOOK = ROOT / "openapi" / "cookbook"
START = np.datetime64("2026-10-01T00:00:00")
TEN_MINUTES = np.timedelta64(10, "m")
#: What the recipes share is no recipe.
SHARED = "calls.py"
SCRIPTS = sorted(path.name for path in COOKBOOK.iterdir() if path.suffix in (".py", ".sh") and path.name != SHARED)
#: A shell script takes these from the system.
SHELL_NEEDS = ("sh", "curl", "sed")


@pytest.fixture
def cook(demo_server, tmp_path):
    """Run a recipe from another folder, as it is; returns what it printed."""

    def run(name: str, *arguments: str, fails: bool = False) -> str:
        if name.endswith(".sh"):
            missing = [need for need in SHELL_NEEDS if shutil.which(need) is None]
            if missing:
                pytest.skip(f"{', '.join(missing)} not installed; the shell recipes need it")
        command = [sys.executable, "-W", "error"] if name.endswith(".py") else ["sh"]
        ran = subprocess.run(
            [*command, str(COOKBOOK / name), *arguments],
            cwd=tmp_path,
            env={"PATH": os.environ["PATH"], "EBBMARK_URL": demo_server.address},
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
        assert (ran.returncode != 0) == fails, ran.stdout + ran.stderr
        return ran.stderr if fails else ran.stdout

    return run


@pytest.fixture
def ask(demo_server):
    """Call the service itself, to hold the recipes to."""

    def call(method: str, path: str, body: Any = None, **headers: str) -> Any:
        content = None if body is None else json.dumps(body).encode()
        if content is not None:
            headers.setdefault("content-type", "application/json")
        request = urllib.request.Request(f"{demo_server.address}{path}", content, headers, method=method)
        with urllib.request.urlopen(request, timeout=60) as answer:
            said = answer.read()
            return json.loads(said) if said else None

    return call


def mark_rows(ask: Any, *names: str) -> str:
    """Rows of an import of invented marks."""
    station = ask("GET", "/v1/stations?external_ref=quenlow_haven")["items"][0]["id"]
    place = {"latitude": 47.9, "longitude": -18.1, "time_zone": "WET", "station": station, "kind": "harbour"}
    return "".join(json.dumps({"client_ref": name, "name": name.title(), **place}) + "\n" for name in names)


def test_every_recipe_begins_with_its_question_and_is_run_here():
    assert len(SCRIPTS) == 11
    here = Path(__file__).read_text("utf-8")
    for name in SCRIPTS:
        text = (COOKBOOK / name).read_text("utf-8")
        head = text.split("\n\n" if name.endswith(".py") else "\n#\n")[0]
        assert "?" in head, name
        assert f'cook("{name}"' in here, name


def test_the_best_windows_of_a_weekend(cook, ask):
    printed = cook("best_weekend.py", "2026-10-09").splitlines()
    body = {"start": "2026-10-09T18:00Z", "end": "2026-10-11T22:00Z", "limit": 10}
    found = ask("POST", "/v1/windows/search", body)
    assert printed[0].startswith(f"{found['found']} windows")
    assert len(printed) == 2 + len(found["windows"]) > 5
    for line, window in zip(printed[1:], found["windows"], strict=False):
        assert f"score {window['mean_score']:.2f}" in line
        # Summer time at the marks: an hour ahead of UTC.
        assert f"{(int(window['start'][11:13]) + 1) % 24:02d}:" in line
    assert cook("best_weekend.py").startswith(tuple("0123456789"))


def test_a_scheduled_month_is_searched_once(cook, ask, tmp_path):
    assert "windows at" in cook("month_ahead.py", "month.ndjson", "2026-10-01")
    head, *lines = [json.loads(line) for line in (tmp_path / "month.ndjson").read_text("utf-8").splitlines()]
    assert head["first_day"] == "2026-10-01"
    assert len(lines) > 100
    assert [line["start"] for line in lines] == sorted(line["start"] for line in lines)
    marks = ask("GET", "/v1/marks")["items"]
    assert {line["mark_id"] for line in lines} == {mark["id"] for mark in marks}
    before = (tmp_path / "month.ndjson").stat().st_mtime_ns
    assert "nothing has changed" in cook("month_ahead.py", "month.ndjson", "2026-10-01")
    assert (tmp_path / "month.ndjson").stat().st_mtime_ns == before
    ask(
        "PATCH",
        f"/v1/marks/{marks[0]['id']}",
        {"notes": "Weed."},
        **{"If-Match": "*", "content-type": "application/merge-patch+json"},
    )
    assert "windows at" in cook("month_ahead.py", "month.ndjson", "2026-10-01")


def test_a_copy_follows_the_changes(cook, ask, tmp_path):
    cook("follow_changes.py", "copy")
    copied = {path.name for path in (tmp_path / "copy").glob("*.json")}
    assert {f"mark.{mark['id']}.json" for mark in ask("GET", "/v1/marks")["items"]} <= copied
    rule = ask("GET", "/v1/species-rules?external_ref=dab")["items"][0]
    kept = json.loads((tmp_path / "copy" / f"species_rule.{rule['id']}.json").read_text("utf-8"))
    assert kept["id"] == rule["id"]
    assert "0 written, 0 removed" in cook("follow_changes.py", "copy")
    made = ask("POST", "/v1/species-rules", {**rule["rule"], "name": "Passing"})
    cook("follow_changes.py", "copy")
    assert (tmp_path / "copy" / f"species_rule.{made['id']}.json").exists()
    ask("DELETE", f"/v1/species-rules/{made['id']}", **{"If-Match": "*"})
    assert "0 written, 1 removed" in cook("follow_changes.py", "copy")
    assert not (tmp_path / "copy" / f"species_rule.{made['id']}.json").exists()


def test_a_month_is_planned_and_followed(cook, ask, demo_server):
    printed = cook("month_plan.py", "recipe", "2026-12", "WET")
    plan = ask("GET", "/v1/plans?series=recipe")["items"][0]
    assert f"{plan['marks']['done']} marks done, 0 of them as before" in printed
    best = ask("GET", f"/v1/plans/{plan['id']}/sessions?limit=5")["items"]
    for one in best:
        assert f"{one['date_local']} {one['arrive'][11:16]}Z to {one['leave'][11:16]}Z at " in printed
    (sheet,) = re.findall(r"^month sheet of the best mark: (\S+)$", printed, re.M)
    (feed,) = re.findall(r"^follow (\S+)$", printed, re.M)
    for address, begins in ((sheet, b"<!DOCTYPE html>"), (feed, b"BEGIN:VCALENDAR")):
        assert address.startswith(demo_server.address)
        with urllib.request.urlopen(address, timeout=60) as answer:
            assert answer.read().startswith(begins)
    again = cook("month_plan.py", "recipe", "2026-12", "WET")
    assert f"{plan['marks']['done']} marks done, {plan['marks']['done']} of them as before" in again
    assert "a feed follows this series already" in again
    assert "422" in cook("month_plan.py", "recipe", "2026-13", fails=True)


def test_marks_are_imported_twice_without_harm(cook, ask, tmp_path):
    rows = mark_rows(ask, "old-notebook-1", "old-notebook-2") + '{"client_ref": "broken", "name": ""}\n'
    (tmp_path / "marks.ndjson").write_text(rows, encoding="utf-8")
    printed = cook("import_marks.sh", "marks.ndjson")
    assert "it would be: done, 2 created, 0 unchanged, 0 in conflict, 1 invalid" in printed
    assert '"client_ref":"broken"' in printed
    assert "it is: done, 2 created" in printed
    assert ask("GET", "/v1/marks?external_ref=old-notebook-2")["items"]
    assert "it is: done, 0 created, 2 unchanged" in cook("import_marks.sh", "marks.ndjson")


def test_a_timeline_becomes_a_table(cook):
    printed = cook("timeline_to_csv.sh", "mirrelsand", "2026-12-01T00:00Z", "2026-12-02T00:00Z")
    rows = list(csv.DictReader(io.StringIO(printed)))
    assert len(rows) == 144
    assert {"time", "height_m", "named_phase", "light"} <= set(rows[0])
    assert rows[0]["time"] == "2026-12-01T00:00:00Z"
    assert "no mark is called" in cook(
        "timeline_to_csv.sh", "nowhere", "2026-12-01T00:00Z", "2026-12-02T00:00Z", fails=True
    )


def test_spring_evenings_are_those_of_the_filter(cook, ask):
    printed = cook("spring_evenings.py", "mirrelsand", "9.5", "2026-10-01", "30").splitlines()
    evenings = [line[:10] for line in printed[:-1]]
    assert printed[-1].startswith(f"{len(evenings)} evenings at Mirrelsand")
    assert evenings == sorted(set(evenings))
    mark = ask("GET", "/v1/marks?external_ref=mirrelsand")["items"][0]["id"]
    span = "start=2026-10-01T00:00Z&end=2026-10-31T00:00Z&step=10min"
    columns = ask("GET", f"/v1/marks/{mark}/timeline?{span}&factor=range_ratio&factor=height_of_hw")["columns"]
    assert max(columns["range_ratio"]) > 0.85 > min(columns["range_ratio"])
    springs = {
        str(START + k * TEN_MINUTES)[:10]
        for k, (ratio, high) in enumerate(zip(columns["range_ratio"], columns["height_of_hw"], strict=True))
        if ratio is not None and high is not None and ratio >= 0.85 and high < 9.5
    }
    assert evenings
    assert set(evenings) <= springs
    refused = cook("spring_evenings.py", "mirrelsand", "nan", "2026-10-01", fails=True)
    assert "filter" in refused


def test_what_stops_a_rule_is_said(cook):
    printed = cook("why_not.py", "mirrelsand", "dab", "2026-07-05T12:00Z")
    assert printed.startswith("Dab at Mirrelsand")
    assert "no" in printed.splitlines()[0]
    assert "calendar_day" in printed or "season" in printed
    assert "404" in cook("why_not.py", "mirrelsand", "kraken", "2026-07-05T12:00Z", fails=True)


def forecast(height_m: float) -> dict[str, Any]:
    """Two days of a sea of one height."""
    times = [f"{START + k * np.timedelta64(3, 'h')}Z" for k in range(17)]
    return {
        "kind": "forecast",
        "source": f"invented, {height_m} m",
        "issued_at": times[0],
        "waves_at": "at_mark",
        "wave_period_kind": "peak",
        "times": times,
        "values": {"wave_height_m": [height_m] * 17, "wave_period_s": [7.0] * 17, "sea_temperature_c": [15.0] * 17},
    }


def test_a_forecast_moves_the_windows(cook, tmp_path):
    (tmp_path / "forecast.json").write_text(json.dumps(forecast(1.0)), encoding="utf-8")
    printed = cook("conditions_then_search.py", "quenlow_basin", "flounder", "forecast.json")
    before, after = printed.split("with the forecast:")
    assert before.startswith("before: ")
    assert "windows" in after
    bad = {**forecast(1.0), "values": {"wave_height_m": [-1.0] * 17}}
    (tmp_path / "bad.json").write_text(json.dumps(bad), encoding="utf-8")
    assert "values.wave_height_m" in cook(
        "conditions_then_search.py", "quenlow_basin", "flounder", "bad.json", fails=True
    )


def test_sessions_lie_in_free_time(cook):
    printed = cook("free_time_sessions.py", "2026-10-17")
    outings = re.findall(r"^\d\. (\w{3}) (\d\d \w{3}) (\d\d:\d\d) to (\d\d:\d\d)", printed, re.M)
    assert 1 <= len(outings) <= 5
    for day, _, out, back in outings:
        assert day in ("Wed", "Sat", "Sun")
        early, late = ("17:30", "01:00") if day == "Wed" else ("06:00", "23:00")
        assert out >= early
        assert back <= late or (day == "Wed" and back >= "17:30")
    assert "safe: safe" not in printed
    # The clocks go back in this fortnight.
    assert "twice" in printed


def test_rules_are_looked_over(cook, ask):
    rule = ask("GET", "/v1/species-rules?external_ref=flounder")["items"][0]["rule"]
    shapes = [{"kind": "trapezoid", "from": 0.2, "full_from": 0.3}, {"kind": "trapezoid", "full_to": 0.05, "to": 0.1}]
    wrong = {**rule, "name": "Cannot be", "require": [{"factor": "flow_strength", "shape": shape} for shape in shapes]}
    made = ask("POST", "/v1/species-rules", wrong)
    try:
        printed = cook("lint_rules.py", "2026-10-01")
    finally:
        ask("DELETE", f"/v1/species-rules/{made['id']}", **{"If-Match": "*"})
    count = re.search(r"^Cannot be: (\d+) remarks$", printed, re.M)
    assert count is not None
    assert int(count[1]) >= 1
    assert re.search(r"^\d+ rules with remarks$", printed, re.M)


def test_a_refusal_is_said_with_its_faults(cook):
    said = cook("best_weekend.py", "1500-01-05", fails=True)
    assert re.match(r"POST /v1/windows/search: 422 .+\n  \w+: .+; expected .+", said), said


def test_the_demo_coast_is_shown_while_it_is_served(demo_server):
    printed = demo_server.printed.read_text()
    assert "Traceback" not in printed
    shown = re.search(r"\bbest\b.*\bwindows\b", printed, re.I)
    assert shown is not None, printed
    # A day, from and to, mark and rule, a score, and what to mind.
    rows = re.findall(r"^ +\w{3} \d\d \w{3} +\d\d:\d\d +\d\d:\d\d +\S.*\d\.\d\d .*\S", printed, re.MULTILINE)
    assert len(rows) >= 5
    assert "ot for navigation" in printed


def test_a_busy_port_is_named(demo_server, tmp_path):
    port = demo_server.address.rpartition(":")[2]
    second = subprocess.run(
        [sys.executable, "-c", "from service.cli import app; app()", "serve"],
        env={**os.environ, "EBBMARK_PORT": port, "EBBMARK_STORE": str(tmp_path / "store")},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert second.returncode == 1
    assert f"port {port}" in second.stderr
    assert "EBBMARK_PORT" in second.stderr


@pytest.mark.parametrize("name", showing("sh"))
def test_the_calls_of_a_page_are_answered(reader, demo_server, name):
    if shutil.which("curl") is None:
        pytest.skip("curl is not installed; the calls are made with it")
    ran = run_shell(guide(name), reader, demo_server.address)
    assert ran.returncode == 0, ran.stdout + ran.stderr
