"""Nothing happens on import, and a worker takes in only what it works with."""

from __future__ import annotations

import subprocess
import sys

from tests.conftest import ROOT


def run(*arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", *arguments],
        capture_output=True, text=True, cwd=ROOT, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


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
