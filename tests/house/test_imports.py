"""An app that answers heights, timeline and search has not paid for libraries that only fits and scripts need."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys

import pytest

from service.settings import Settings
from tests.house.tree import ROOT
from tests.service.sharing import lay_store

HEAVY = ("utide", "scipy", "xarray", "pandas", "netCDF4", "matplotlib", "dask")
#: Makes and upgrades stores; one that is up to date does without.
MIGRATIONS = "alembic"

#: Answers the three questions.
QUESTIONS = """
import json, pathlib, sys
from fastapi.testclient import TestClient
from service.app import create_app
from service.settings import Settings

demo, store = pathlib.Path(sys.argv[1]), sys.argv[2]

def document(kind, name):
    return json.loads((demo / kind / f"{name}.json").read_text("utf-8")) | {"external_ref": name}

app = create_app(Settings(auth="open", store=store, log_level="error"))
with TestClient(app, base_url="http://localhost", client=("127.0.0.1", 50000)) as client:
    def ask(method, path, **given):
        answer = client.request(method, "/v1" + path, **given)
        assert answer.status_code in (200, 201), (path, answer.status_code, answer.text)
        return answer.json()

    station = ask("POST", "/stations", json=document("stations", "quenlow_haven"))["id"]
    mark = ask("POST", "/marks", json=document("marks", "quenlow_outer_wall"))["id"]
    ask("POST", "/species-rules", json=document("rules", "flounder"))
    span = {"start": "2026-01-01T00:00:00Z", "end": "2026-01-08T00:00:00Z"}
    heights = ask("GET", f"/stations/{station}/heights", params=span)
    for resource in ("extremes", "flow"):
        assert ask("GET", f"/stations/{station}/{resource}", params=span)
    for resource in ("constituents", "summary"):
        assert ask("GET", f"/stations/{station}/{resource}")
    timeline = ask("GET", f"/marks/{mark}/timeline", params=span)
    windows = ask("POST", "/windows/search", json=span)["windows"]
    assert len(json.dumps(heights)) > 1000 and len(json.dumps(timeline)) > 1000 and windows
"""


def heavy_imports(code: str, *arguments: str, of: tuple[str, ...] = HEAVY) -> list[str]:
    """Heavy libraries that a fresh interpreter holds after it ran ``code``."""
    named = f"\nimport sys\nprint(*(name for name in {of!r} if name in sys.modules))"
    command = [sys.executable, "-c", code + named, *arguments]
    ran = subprocess.run(command, env=dict(os.environ), capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    return ran.stdout.splitlines()[-1].split()


def test_an_app_that_answers_is_light(tmp_path):
    store = str(tmp_path / "store")
    lay_store(Settings(auth="open", store=store))
    assert heavy_imports(QUESTIONS, str(ROOT / "demo_stations"), store, of=(*HEAVY, MIGRATIONS)) == []


@pytest.mark.parametrize("start", ["import service.asgi", "from service.cli import app\napp(['serve'])"])
def test_a_start_looks_for_no_garbage_and_what_it_made_is_looked_through_no_more(start, tmp_path):
    told = (
        "import atexit, gc\natexit.register(lambda: print(gc.isenabled(), gc.get_stats()[2], gc.get_freeze_count()))\n"
    )
    with socket.create_server(("127.0.0.1", 0)) as busy:
        # The command ends as soon as it has what it needs: the port is taken.
        given = {"EBBMARK_STORE": str(tmp_path), "EBBMARK_PORT": str(busy.getsockname()[1])}
        command = [sys.executable, "-c", told + start]
        ran = subprocess.run(command, env={**os.environ, **given}, capture_output=True, text=True, check=False)
    found = re.fullmatch(r"True \{'collections': (\d+), .*\} (\d+)", ran.stdout.strip())
    assert found is not None, ran
    assert int(found[1]) <= 1
    assert int(found[2]) > 200_000


def test_the_core_and_the_catch_log_are_light():
    questions = "compare_rates(3, 2.0, 1, 2.0), poisson_limits(4)"
    code = f"import tidecore\nfrom tidecore.catchstats import compare_rates, poisson_limits\n{questions}"
    assert heavy_imports(code) == []


@pytest.mark.parametrize("name", ["scipy", "pandas"])
def test_a_heavy_import_is_seen(name):
    assert name in heavy_imports(f"def later():\n    import {name}\nlater()")
