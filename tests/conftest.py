"""What every room's tests share: gauge data, a clean environment, one order of chance."""

from __future__ import annotations

import os
from pathlib import Path

import hypothesis
import pytest

ROOT = Path(__file__).resolve().parents[1]

#: The only settings of Ebbmark that a test run takes from the person who starts it.
PASSED_ON = frozenset({"EBBMARK_OPEN_DATA", "EBBMARK_TEST_DATABASE_URL"})

hypothesis.settings.register_profile("house", derandomize=True, database=None, deadline=None, print_blob=True)
hypothesis.settings.load_profile("house")


def pytest_configure(config: pytest.Config) -> None:
    """Forget the settings of whoever runs the tests, before anything reads them."""
    for name in [name for name in os.environ if name.startswith("EBBMARK_") and name not in PASSED_ON]:
        del os.environ[name]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Skip what is particular to the other database, and what needs Node unless asked for by the name of its folder."""
    if not any("tests/web" in argument for argument in config.args):
        for item in items:
            if item.get_closest_marker("web") is not None:
                item.add_marker(pytest.mark.skip(reason="needs Node (make test-web)"))
    on_postgres = bool(os.environ.get("EBBMARK_TEST_DATABASE_URL"))
    for item in items:
        for marker in item.iter_markers("sqlite" if on_postgres else "postgres"):
            where = "particular to SQLite" if on_postgres else "needs PostgreSQL (make test-pg)"
            item.add_marker(pytest.mark.skip(reason=f"{where}: {marker.args[0]}"))


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder of real gauge records and published constituents, read in place; skips where it is absent."""
    folder = Path(os.environ.get("EBBMARK_OPEN_DATA", ROOT.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip(f"open gauge data not found at {folder}; set EBBMARK_OPEN_DATA to run this check")
    return folder
