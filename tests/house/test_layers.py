"""Who may import whom: every contract holds, and every contract notices an import that breaks it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.house.tree import PACKAGES, ROOT


@dataclass(frozen=True)
class Break:
    """Code that breaks ``contract`` when it is added to a file; the file is made if it is not there."""

    contract: str
    file: str
    code: str


BREAKS = [
    Break("service-over-core", "tidecore/units.py", "import service.settings"),
    Break("core-layers", "tidecore/roots/brackets.py", "import tidecore.sky.events"),
    Break("core-layers", "tidecore/attic.py", '"""A module in no layer."""'),
    Break("core-is-pure", "tidecore/windows/__init__.py", "import sqlalchemy"),
    Break("core-is-pure", "tidecore/gauges/reader.py", "def fetch():\n    import urllib.request"),
    Break("pydantic-for-documents", "tidecore/units.py", "import pydantic"),
    Break("utide-in-the-engine", "tidecore/model/fitting.py", "def solve():\n    import utide"),
    Break("service-layers", "service/settings.py", "import service.storage.engine"),
    Break("service-layers", "service/attic.py", '"""A module in no layer."""'),
    Break("api-layers", "service/api/problems.py", "import service.api.v1.stations"),
    Break("api-layers", "service/api/attic.py", '"""A module in no layer."""'),
    Break("routers-and-schemas", "service/api/v1/marks.py", "import service.api.v1.stations"),
    Break("routers-and-schemas", "service/api/v1/schemas/marks.py", "import service.api.v1.marks"),
    Break("routers-and-schemas", "service/api/v1/attic.py", '"""A router in no layer."""'),
    Break("tables-behind-storage", "service/usecases/marks.py", "import service.storage.tables"),
    Break("routers-by-usecases", "service/api/v1/marks.py", "import service.storage.unit"),
    Break("routers-by-usecases", "service/api/v1/marks.py", "import service.jobs.runner"),
    Break("routers-by-usecases", "service/api/v1/marks.py", "import tidecore.harmonics"),
    Break("dask-behind-one-adapter", "service/usecases/planning.py", "def far():\n    import distributed"),
    Break("no-cycles", "tidecore/units.py", "import tidecore.timebase"),
    Break("no-cycles", "service/errors/root.py", "import service.security"),
]


def contracts() -> list[str]:
    """Identifiers of every contract of the project."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    return [contract["id"] for contract in project["tool"]["importlinter"]["contracts"]]


def lint(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """What import-linter says of the packages in ``folder``, by the contracts of the project."""
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command as run; run()"]
    return subprocess.run(
        [*command, "--no-logo", "--no-cache", *options, str(ROOT / "pyproject.toml")],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def copy(tmp_path):
    for package in PACKAGES:
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    return tmp_path


def test_every_contract_is_kept(copy):
    said = lint(copy)
    assert f"Contracts: {len(contracts())} kept, 0 broken." in said.stdout, said.stdout + said.stderr
    assert said.returncode == 0


def test_every_contract_has_something_that_breaks_it():
    assert {broken.contract for broken in BREAKS} == set(contracts())


def test_no_contract_looks_away():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    for contract in project["tool"]["importlinter"]["contracts"]:
        assert "ignore_imports" not in contract, contract["id"]
        assert "exhaustive_ignores" not in contract, contract["id"]
        assert not any(layer.startswith("(") for layer in contract.get("layers", [])), contract["id"]


@pytest.mark.parametrize("broken", BREAKS, ids=lambda broken: f"{broken.contract}-{broken.file}")
def test_an_import_against_a_contract_is_seen(copy, broken):
    with (copy / broken.file).open("a", encoding="utf-8") as file:
        file.write(f"\n{broken.code}\n")
    said = lint(copy, "--contract", broken.contract)
    assert "Contracts: 0 kept, 1 broken." in said.stdout, said.stdout + said.stderr
    assert said.returncode == 1
