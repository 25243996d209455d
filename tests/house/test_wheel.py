"""An installed copy has everything the checkout has: types, migrations, their template."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.house.tree import PACKAGES, ROOT

MIGRATE = """
import sys
from sqlalchemy import inspect
import service
from service.storage.engine import open_engine
from service.storage.migrating import upgrade_store
assert service.__file__.startswith(sys.argv[1]), service.__file__
engine = open_engine("sqlite+pysqlite:///" + sys.argv[2])
upgrade_store(engine)
assert "stations" in inspect(engine).get_table_names()
"""


def unpacked(names: set[str], files: set[str]) -> set[str]:
    """Files of the packages that a wheel with ``names`` in it lacks."""
    return {name for name in files if "__pycache__" not in name} - names


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """A wheel built from a copy of the checkout, without a network."""
    source = tmp_path_factory.mktemp("source")
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source / name)
    for package in PACKAGES:
        shutil.copytree(ROOT / package, source / package, ignore=shutil.ignore_patterns("__pycache__"))
    made = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-index", "--no-build-isolation"]
    subprocess.run([*pip, "--wheel-dir", str(made), str(source)], check=True, capture_output=True, text=True)
    return next(made.glob("ebbmark-*.whl"))


def test_a_wheel_holds_every_file_of_the_packages(wheel):
    files = {path.relative_to(ROOT).as_posix() for name in PACKAGES for path in (ROOT / name).rglob("*.*")}
    assert unpacked(set(zipfile.ZipFile(wheel).namelist()), files) == set()


def test_a_file_left_out_of_a_wheel_is_seen():
    assert unpacked({"tidecore/model.py"}, {"tidecore/model.py", "tidecore/py.typed"}) == {"tidecore/py.typed"}


def test_migrations_run_from_a_wheel(wheel, tmp_path):
    installed = tmp_path / "installed"
    zipfile.ZipFile(wheel).extractall(installed)
    command = [sys.executable, "-c", MIGRATE, str(installed), str(tmp_path / "ebbmark.sqlite3")]
    ran = subprocess.run(
        command,
        env={**os.environ, "PYTHONPATH": str(installed)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
