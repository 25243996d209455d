"""The command line, run as a person does."""

from __future__ import annotations

import json
import re
import signal
from functools import cache

import pytest
from typer.testing import CliRunner

from service.bootstrap import House
from service.cli import app, contracts
from service.cli.demo import load_demo
from service.cli.fitting import parse_hints
from service.cli.showing import pick_varied, search_from
from service.errors import DocumentInvalid
from service.security import LOCAL_CALLER
from tests.postgres.stores import store_variables
from tests.service.coast import example, gauge_csv
from tests.service.conftest import settings_for
from tests.service.processes import fetch, free_port


def invoke(*arguments: str, code: int = 0):
    result = CliRunner().invoke(app, list(arguments))
    assert result.exit_code == code, result.output
    return result


def write_coast(folder, *, gauge=True):
    """Write a demo coast: a station, a mark, a rule, and with ``gauge`` a station fitted from a record."""
    for name, document in {
        "stations/pellwick": example("create_station"),
        "marks/beach": example("create_mark"),
        "rules/bass": {k: v for k, v in example("create_species_rule").items() if k != "external_ref"},
    }.items():
        path = folder / f"{name}.json"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(document))
    if gauge:
        (folder / "gauges").mkdir()
        (folder / "stations" / "gauge_point.json").write_text('{"name": "Gauge Point", "latitude": 51.0}')
        hints = {"format": "csv", "time": "time", "level": "level", "unit": "m", "datum": "gauge zero"}
        (folder / "gauges" / "gauge_point.json").write_text(json.dumps(hints))
        (folder / "gauges" / "gauge_point.csv").write_bytes(gauge_csv())


@pytest.fixture
def opened(tmp_path):
    house = House(settings_for(tmp_path))
    house.open()
    yield house
    house.close()


def test_a_demo_coast_is_loaded_once(opened, tmp_path):
    write_coast(tmp_path / "demo")
    assert load_demo(opened.context, LOCAL_CALLER, tmp_path / "demo") == "demo coast: 5 things loaded"
    assert load_demo(opened.context, LOCAL_CALLER, tmp_path / "demo") == "demo coast: already in the store"
    with opened.store.unit(LOCAL_CALLER.account_id) as unit:
        fitted = unit.stations.by_reference("gauge_point")
        assert (fitted.version, unit.stations.model(fitted.station_id, 1).source) == (1, "fit")
        assert unit.species_rules.by_reference("bass") is not None
        assert len(unit.stations.page(None, 10)) == 2
    result = search_from(opened.context, LOCAL_CALLER, "2026-06-01T00:00:00Z", 14.0, None, None)
    assert result.windows
    assert len(pick_varied(result, 20)) == 1
    named = search_from(opened.context, LOCAL_CALLER, "2026-06-01T00:00:00Z", 14.0, None, ["bass"])
    assert [one.window.start for one in named.windows] == [one.window.start for one in result.windows]
    assert list((tmp_path / "store" / "uploads").iterdir()) == []


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("stations/broken.json", b"{", "JSON object"),
        ("stations/list.json", b"[]", "JSON object"),
        ("marks/lost.json", json.dumps({**example("create_mark"), "station": "nowhere"}).encode(), "nowhere"),
        ("stations/gauge_point.json", b'{"name": "Gauge Point", "latitude": 51.0}', "cannot be read"),
    ],
)
def test_a_broken_demo_coast_says_where(opened, tmp_path, name, content, says):
    write_coast(tmp_path / "demo", gauge=False)
    (tmp_path / "demo" / name).write_bytes(content)
    with pytest.raises(DocumentInvalid, match=says):
        load_demo(opened.context, LOCAL_CALLER, tmp_path / "demo")


def test_a_record_of_the_demo_coast_that_cannot_be_fitted_says_why(opened, tmp_path):
    write_coast(tmp_path / "demo")
    (tmp_path / "demo" / "gauges" / "gauge_point.csv").write_bytes(gauge_csv(1))
    with pytest.raises(DocumentInvalid, match="cannot be fitted: the record spans"):
        load_demo(opened.context, LOCAL_CALLER, tmp_path / "demo")


def test_a_missing_demo_coast_says_so(opened, tmp_path):
    with pytest.raises(DocumentInvalid, match="EBBMARK_DEMO_DIR"):
        load_demo(opened.context, LOCAL_CALLER, tmp_path / "nowhere")


def test_windows_of_the_store_are_shown(tmp_path, monkeypatch, client):
    for name, value in store_variables(tmp_path).items():
        monkeypatch.setenv(name, value)
    empty = invoke("windows", "--start", "2026-06-01T00:00:00Z").output
    assert empty.startswith("No window, 2026-06-01 to 2026-06-15.\n")
    for path, name in (("stations", "station"), ("marks", "mark"), ("species-rules", "species_rule")):
        assert client.post(f"/v1/{path}", json=example(f"create_{name}")).status_code == 201
    shown = invoke("windows", "--start", "2026-06-01T00:00:00Z", "--days", "7").output
    assert "Pellwick Long Beach" in shown
    assert "height of the waves" in shown, "factors in plain words"
    assert "no assurance: alone" in shown, "hazards that cannot be assessed are named, and counted beside a window"
    assert re.search(r"\d \? *$", shown, re.MULTILINE)
    assert "Not for navigation" in shown
    none = invoke("windows", "--start", "2026-06-01T00:00:00Z", "--days", "0.01").output
    assert "Pellwick Long Beach, " in none, "where there is no window it is said why"
    assert "no mark 'mrk_0'" in invoke("windows", "--mark", "mrk_0", code=1).output
    assert "offset" in invoke("windows", "--start", "2026-06-01T00:00:00", code=1).output


def test_a_record_is_fitted_and_written(tmp_path):
    record = tmp_path / "gauge.csv"
    record.write_bytes(gauge_csv())
    hints = ["--hint", "unit=m", "--hint", "datum=gauge zero", "--hint", "time=time", "--hint", "level=level"]
    shown = invoke("fit", str(record), "--latitude", "51", *hints, "--out", str(tmp_path / "model.nc")).output
    assert "residual RMS [m]" in shown
    assert "M2" in shown
    from tidecore.model import TideModel

    assert TideModel.open(tmp_path / "model.nc").datum == "gauge zero"
    assert "unit" in invoke("fit", str(record), "--latitude", "51", "--hint", "datum=unknown", code=1).output
    assert "name=value" in invoke("fit", str(record), "--hint", "metres", code=1).output
    invoke("fit", str(tmp_path / "none.csv"), "--latitude", "51", code=1)


def test_many_records_are_fitted_side_by_side_to_what_each_comes_to_alone(tmp_path, monkeypatch):
    names = ["east.csv", "west.csv", "broken.csv"]
    for k, name in enumerate(names):
        (tmp_path / name).write_bytes(gauge_csv(31 - k) if name != "broken.csv" else b"time,level\nnever,1\n")
    paths, given = [str(tmp_path / name) for name in (*names, "absent.csv")], ["--latitude", "51"]
    for hint in ("unit=m", "datum=gauge zero", "time=time", "level=level"):
        given += ["--hint", hint]
    monkeypatch.setenv("EBBMARK_PLAN_WORKERS", "2")
    result = invoke("fit", *paths, *given, "--out", str(tmp_path / "models"), code=1)
    for name in ("broken.csv", "absent.csv"):
        assert f"{name}: " in result.stderr
    invoke("fit", paths[1], *given, "--out", str(tmp_path / "alone.nc"))
    assert (tmp_path / "models" / "west.nc").read_bytes() == (tmp_path / "alone.nc").read_bytes()
    assert sorted(one.name for one in (tmp_path / "models").iterdir()) == ["east.nc", "west.nc"]
    twice = invoke("fit", paths[0], paths[0], *given, "--out", str(tmp_path / "twice"), code=1)
    assert "one name" in twice.stderr


def test_hints_are_values_or_text():
    hints = ["unit=m", 'missing=[-99, "NA"]', "header=false", "skip_rows=2", "datum=MSL = 0"]
    assert parse_hints(hints) == {
        "unit": "m", "missing": [-99, "NA"], "header": False, "skip_rows": 2, "datum": "MSL = 0",
    }  # fmt: skip


def test_the_contract_is_written_and_checked(tmp_path, monkeypatch):
    # What is served does not change between the four commands.
    monkeypatch.setattr(contracts, "served_contract", cache(contracts.served_contract))
    path = tmp_path / "openapi" / "v1.json"
    assert "is not what is served" in invoke("contract", str(path), "--check", code=1).output
    invoke("contract", str(path))
    invoke("contract", str(path), "--check")
    path.write_text(path.read_text().replace("/v1/marks", "/v1/landmarks", 1))
    drifted = invoke("contract", str(path), "--check", code=1).output
    assert "landmarks" in drifted
    assert "cannot be written" in invoke("contract", str(path / "below a file.json"), code=1).output


def test_without_usable_settings_no_contract_is_written(tmp_path, monkeypatch):
    monkeypatch.setenv("EBBMARK_PORT", "starboard")
    said = invoke("contract", str(tmp_path / "v1.json"), code=1).output
    assert "EBBMARK_PORT: is 'starboard'" in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.sqlite("the store is a file; PostgreSQL is upgraded in tests/postgres")
def test_the_store_is_upgraded(tmp_path, monkeypatch):
    monkeypatch.setenv("EBBMARK_STORE", str(tmp_path / "store"))
    assert "up to date" in invoke("db", "upgrade").output
    assert (tmp_path / "store" / "ebbmark.sqlite3").is_file()
    (tmp_path / "store" / "ebbmark.sqlite3").write_bytes(b"scrambled" * 100)
    assert "cannot be used" in invoke("db", "upgrade", code=1).output


def test_the_demo_is_served_and_stopped(process, tmp_path):
    write_coast(tmp_path / "demo", gauge=False)
    port = free_port()
    service = process("serve", "--demo", port=port)
    assert fetch(port, "/v1/health/ready")["status"] == "ready"
    assert len(fetch(port, "/v1/stations")["items"]) == 1
    busy = process("serve", port=port)
    _, said = busy.communicate(timeout=60.0)
    assert busy.returncode == 1
    assert f"port {port} is busy" in said
    assert "EBBMARK_PORT" in said
    service.send_signal(signal.SIGINT)
    out, said = service.communicate(timeout=60.0)
    assert service.returncode in (0, -signal.SIGINT, 130), said
    assert "demo coast: 3 things loaded" in out
    assert "Pellwick Long Beach" in out
    assert f"http://127.0.0.1:{port}" in out
    assert "Traceback" not in said
