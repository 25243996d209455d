"""What answers requests never imports the libraries of the fit, and nothing happens on import."""

from __future__ import annotations

import subprocess
import sys

from tests.conftest import ROOT

HEAVY = ("utide", "scipy", "xarray", "pandas", "netCDF4", "alembic", "matplotlib")

ASK = """
import json, sys
from starlette.testclient import TestClient
from service.app import create_app
from service.settings import Settings
from tests.service.coast import PEER, SPAN, URL, example, make_coast

def main(store):
    app = create_app(Settings(auth="open", store=store, log_level="error"))
    with TestClient(app, base_url=URL, client=PEER) as client:
        if "coast" in sys.argv:
            make_coast(client)
            return
        station = client.get("/v1/stations").json()["items"][0]["id"]
        mark = client.get("/v1/marks").json()["items"][0]["id"]
        rule = client.get("/v1/species-rules").json()["items"][0]["id"]
        for path in ("heights", "extremes", "flow", "constituents", "summary"):
            params = {} if path in ("constituents", "summary") else SPAN
            assert client.get(f"/v1/stations/{station}/{path}", params=params).status_code == 200, path
        assert client.get(f"/v1/marks/{mark}/timeline", params=SPAN).status_code == 200
        body = {**example("search_windows"), "mark_ids": [mark], "rule_ids": [rule]}
        assert client.post("/v1/windows/search", json=body).json()["windows"]
    print(json.dumps(sorted({name.split(".")[0] for name in sys.modules})))

if __name__ == "__main__":
    main(sys.argv[1])
"""


def run(*arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", *arguments],
        capture_output=True, text=True, cwd=ROOT, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_answers_do_without_the_libraries_of_the_fit(tmp_path):
    run(ASK, str(tmp_path / "store"), "coast")
    modules = run(ASK, str(tmp_path / "store"))
    assert '"numpy"' in modules
    assert [name for name in HEAVY if f'"{name}"' in modules] == []


def test_importing_the_service_opens_nothing(tmp_path):
    script = """
import os, sys
os.chdir(sys.argv[1])
import pkgutil, importlib, service
for info in pkgutil.walk_packages(service.__path__, "service."):
    if "migrations" not in info.name and info.name != "service.asgi":
        importlib.import_module(info.name)
print(os.listdir("."))
import service.asgi
print(os.listdir("."))
"""
    assert run(f"import sys; sys.path.insert(0, {str(ROOT)!r})\n" + script, str(tmp_path)).split() == ["[]", "[]"]


def test_the_worker_imports_no_database_and_no_web():
    found = run("import sys, service.jobs.worker, service.jobs.fitting; print(sorted(sys.modules))")
    assert [name for name in ("sqlalchemy", "fastapi", "starlette") if f"'{name}'" in found] == []
