"""Health tells the truth."""

from __future__ import annotations

import pytest

from tests.postgres.stores import behind
from tests.service.problems import problem
from tidecore import NUMERICS, __version__


def test_an_open_service_with_its_store_is_ready(coastal):
    client, _ = coastal
    ready = client.get("/v1/health/ready").json()
    assert ready["status"] == "ready"
    assert set(ready["checks"]) == {"store", "schema", "access"}
    assert client.get("/v1/health/live").json() == {"status": "live"}


def test_versions_are_named(coastal):
    client, _ = coastal
    versions = client.get("/v1/health/versions").json()["versions"]
    assert (versions["ebbmark"], versions["numerics"]) == (__version__, str(NUMERICS))
    assert {"numpy", "fastapi", "sqlalchemy", "utide"} <= set(versions)


@pytest.mark.sqlite("the file of the store is scrambled; a server that is gone is in tests/postgres")
def test_a_store_that_is_gone_is_not_ready(serve, tmp_path):
    # Without a runner: a connection of its own would have the index of the log mapped into memory, and to cut that
    # off ends the process.
    client = serve(workers=0)
    client.app.state.house.store.engine.dispose()
    assert [path.name for path in (tmp_path / "store").iterdir()] == ["ebbmark.sqlite3"]
    (tmp_path / "store" / "ebbmark.sqlite3").write_bytes(b"scrambled" * 1000)
    found = problem(client.get("/v1/health/ready"), 503, "not-ready")
    assert "store" in found["detail"]
    assert client.get("/v1/health/live").status_code == 200
    response = client.get("/v1/stations")
    problem(response, 503, "store-unavailable")
    assert response.headers["retry-after"]
    # So that closing the application finds a store again.
    for path in (tmp_path / "store").glob("ebbmark.sqlite3*"):
        path.unlink()
    client.app.state.house.store.engine.dispose()
    client.app.state.house.open(with_runner=False)


def test_a_store_of_another_revision_is_not_ready(serve):
    client = serve()
    with behind(client.app.state.house.store.engine) as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'older'")
    found = problem(client.get("/v1/health/ready"), 503, "not-ready")
    assert "ebbmark db upgrade" in found["detail"]


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/problems", "/problems/not-found", "/docs-assets/swagger-ui.css"])
def test_pages_are_served_from_this_machine_alone(coastal, path):
    client, _ = coastal
    response = client.get(path)
    assert response.status_code == 200
    if path.startswith("/docs-assets"):
        return
    for marker in ('src="http', 'href="http', "//cdn", "fonts.googleapis"):
        assert marker not in response.text


def test_every_type_of_problem_has_its_page(coastal):
    from service.api.problem_types import PROBLEMS

    client, _ = coastal
    index = client.get("/problems").text
    for entry in PROBLEMS.values():
        assert entry.type in index
        assert entry.type in client.get(entry.type).text
    problem(client.get("/problems/none-such"), 404, "not-found")
