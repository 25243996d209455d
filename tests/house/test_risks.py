"""The walk through the risks of APIs names tests that there are; and nothing here calls out."""

from __future__ import annotations

import ast
import re

from tests.house.test_docs import section
from tests.house.tree import PACKAGES, ROOT, functions, parsed, python_files, relative

RISKS = [f"API{number}" for number in range(1, 11)]
ROW = re.compile(r"^\| (API\d+) .*$", re.M)
NAMED = re.compile(r"`(test_\w+)`")
#: Modules that reach other machines as a client.
CLIENTS = ("aiohttp", "ftplib", "http.client", "httpx", "requests", "smtplib", "urllib.request", "urllib3", "xmlrpc")


def walk() -> str:
    """The section with the table."""
    return section((ROOT / "DEVELOPERS.md").read_text("utf-8"), "Risks")


def rows(text: str) -> dict[str, set[str]]:
    """Risk -> the tests that its row names."""
    return {found[1]: set(NAMED.findall(found[0])) for found in ROW.finditer(text)}


def defined() -> set[str]:
    """The names of all tests there are."""
    return {
        node.name for path in python_files("tests") for node in functions(parsed(path)) if node.name.startswith("test_")
    }


def called_out(source: str) -> list[str]:
    """Imports of a client in a module."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            found += [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
    return [name for name in found if any(name == one or name.startswith(f"{one}.") for one in CLIENTS)]


def test_every_risk_has_a_row_and_every_row_a_test():
    found = rows(walk())
    assert list(found) == RISKS
    assert [risk for risk, tests in found.items() if not tests] == []


def test_every_test_that_the_walk_names_is_there():
    assert set().union(*rows(walk()).values()) - defined() == set()


def test_a_row_without_a_test_is_seen():
    assert rows("| API1 x | y | `test_a`, `test_b` |\n| API2 x | y | none |\n") == {
        "API1": {"test_a", "test_b"},
        "API2": set(),
    }
    assert "test_that_nobody_wrote" not in defined()


def test_nothing_calls_other_machines():
    modules = python_files(*PACKAGES)
    assert modules
    assert [relative(path) for path in modules if called_out(path.read_text("utf-8"))] == []


def test_a_call_to_another_machine_is_seen():
    assert called_out("import urllib.request") == ["urllib.request"]
    assert called_out("from http import client")
    assert called_out("from httpx import get")
    assert called_out("from http import HTTPStatus\nimport urllib.parse") == []
