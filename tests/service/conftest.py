"""An application with its own store for tests of the service; the schema is made by the migrations."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from subprocess import Popen
from typing import Any

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.bootstrap import House
from service.settings import Settings
from tests.postgres.stores import ADMIN_URL, drop_databases, store_settings
from tests.service.coast import PEER, URL, Coast, make_coast
from tests.service.processes import start_command
from tests.service.sharing import lay_store, shared


def settings_for(folder: Path, **changes: Any) -> Settings:
    """Return settings with the store of ``folder``, in open mode, quiet."""
    return Settings(**{"auth": "open", "log_level": "error", **store_settings(folder), **changes})


@pytest.fixture(scope="module", autouse=True)
def sharing() -> Iterator[None]:
    """Applications of one process share what is the same in all."""
    with shared():
        yield


@pytest.fixture(autouse=True)
def databases(request: pytest.FixtureRequest) -> Iterator[None]:
    """Drop the databases that a test made; an SQLite store goes with its folder."""
    folder = request.getfixturevalue("tmp_path") if "tmp_path" in request.fixturenames else None
    yield
    if ADMIN_URL is not None and folder is not None:
        drop_databases(folder)


@pytest.fixture(scope="session", autouse=True)
def every_database() -> Iterator[None]:
    """Drop the databases that the whole run made."""
    yield
    if ADMIN_URL is not None:
        drop_databases()


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[..., TestClient]]:
    """Start applications, each with the settings given, on one store of this test."""
    with ExitStack() as stack:

        def start(**changes: Any) -> TestClient:
            app = create_app(lay_store(settings_for(tmp_path, **changes)))
            return stack.enter_context(TestClient(app, base_url=URL, client=PEER, follow_redirects=False))

        yield start


@pytest.fixture
def client(serve: Callable[..., TestClient]) -> TestClient:
    """An application with an empty store."""
    return serve()


@pytest.fixture(scope="session")
def coastal(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Coast]]:
    """An application with the invented coast, for tests that only read or add."""
    app = create_app(lay_store(settings_for(tmp_path_factory.mktemp("coast"))))
    with TestClient(app, base_url=URL, client=PEER, raise_server_exceptions=False) as client:
        yield client, make_coast(client)


@pytest.fixture(scope="session")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Coast]]:
    """Another one of these, for tests that log what was fished, each with trips or marks of its own."""
    app = create_app(lay_store(settings_for(tmp_path_factory.mktemp("logbook"))))
    with TestClient(app, base_url=URL, client=PEER, raise_server_exceptions=False) as client:
        yield client, make_coast(client)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """An opened house without a runner and without HTTP."""
    opened = House(lay_store(settings_for(tmp_path)))
    opened.open(with_runner=False)
    yield opened
    opened.close()


@pytest.fixture
def process(tmp_path: Path) -> Iterator[Callable[..., Popen[str]]]:
    """Start commands on one store and demo coast of this test; ended at the end of the test."""
    started: list[Popen[str]] = []

    def start(*arguments: str, port: int, **variables: str) -> Popen[str]:
        started.append(start_command(tmp_path, arguments, port, variables))
        return started[-1]

    yield start
    for one in started:
        if one.poll() is None:
            one.kill()
        one.communicate()
