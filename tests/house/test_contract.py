"""The committed contract is what is served, and every resource has the same files under the same name."""

from __future__ import annotations

import json

import pytest

from service.api.contract import contract_bytes
from service.cli.contracts import served_contract
from tests.house.tree import ROOT

COMMITTED = ROOT / "openapi" / "v1.json"


def names_in(folder: str) -> set[str]:
    return {path.stem for path in (ROOT / folder).glob("*.py")} - {"__init__", "common"}


@pytest.fixture(scope="module")
def served() -> bytes:
    return served_contract()


def test_the_committed_contract_is_what_is_served(served):
    same = COMMITTED.read_bytes() == served
    assert same, "openapi/v1.json is not what is served; run `ebbmark contract` and look at the changes"


def test_settings_do_not_change_the_contract(served, monkeypatch):
    monkeypatch.setenv("EBBMARK_AUTH", "open")
    monkeypatch.setenv("EBBMARK_PORT", "9999")
    monkeypatch.setenv("EBBMARK_MAX_POINTS", "7")
    assert served_contract() == served


def test_a_changed_contract_is_seen(served):
    document = json.loads(served)
    path = next(iter(document["paths"]))
    document["paths"][path + "s"] = document["paths"].pop(path)
    assert contract_bytes(document) != served


def test_every_router_has_a_schema_module_and_a_use_case_of_its_name():
    routers = names_in("service/api/v1")
    assert routers
    assert routers - names_in("service/api/v1/schemas") == set()
    assert routers - names_in("service/usecases") == set()


def test_every_operation_is_named_tagged_and_described(served):
    document = json.loads(served)
    operations = [one for path in document["paths"].values() for one in path.values()]
    assert operations
    wanted = ("operationId", "tags", "summary", "description", "responses")
    assert [one.get("operationId") for one in operations if not all(one.get(name) for name in wanted)] == []
    names = [one["operationId"] for one in operations]
    assert sorted(set(names)) == sorted(names)
    used = {tag for one in operations for tag in one["tags"]}
    assert used == {tag["name"] for tag in document["tags"]}
