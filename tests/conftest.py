"""What every room's tests share: gauge data, a clean environment, one order of chance."""

from __future__ import annotations

import os
from pathlib import Path

import hypothesis
import pytest

# As the service has it, and before anything loads numpy: two processes of tests with two threads of linear algebra
# each take the two cores of a small machine from one another, and a fit then costs several times its arithmetic.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ROOT = Path(__file__).resolve().parents[1]

#: The only settings of Ebbmark that a test run takes from the person who starts it.
PASSED_ON = frozenset({"EBBMARK_OPEN_DATA", "EBBMARK_TEST_DATABASE_URL"})

#: Files that take long, the longest first -> their place.
LONG_FILES = {
    name: place
    for place, name in enumerate(
        (
            "tests/tidecore/model/test_choice.py",
            "tests/service/test_contract_schemathesis.py",
            "tests/service/test_jobs.py",
            "tests/service/test_bulk_imports.py",
            "tests/service/test_isolation.py",
            "tests/demo/test_demo_coast.py",
            "tests/tidecore/model/test_inference.py",
            "tests/faults/test_kills.py",
            "tests/faults/test_two_processes.py",
            "tests/house/test_wheel.py",
            "tests/service/test_editing.py",
            "tests/faults/test_clocks.py",
            "tests/house/test_layers.py",
        )
    )
}

hypothesis.settings.register_profile("house", derandomize=True, database=None, deadline=None, print_blob=True)
hypothesis.settings.load_profile("house")


def pytest_configure(config: pytest.Config) -> None:
    """Forget the settings of whoever runs the tests, before anything reads them."""
    for name in [name for name in os.environ if name.startswith("EBBMARK_") and name not in PASSED_ON]:
        del os.environ[name]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Skip what is particular to the other database, and what needs Node unless asked for by the name of its folder.

    Long files come first, so that no core is left with one of them at the end.
    """
    items.sort(key=lambda item: LONG_FILES.get(item.nodeid.partition("::")[0], len(LONG_FILES)))
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
