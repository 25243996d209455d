"""The contract: errors declared, examples that work."""

from __future__ import annotations

import pytest

from service.api.problems import PROBLEMS
from service.api.v1.schemas import marks, species_rules, stations, windows
from tests.service.coast import EXAMPLES, example

METHODS = {"get", "post", "put", "patch", "delete"}


@pytest.fixture(scope="module")
def contract(coastal):
    client, _ = coastal
    return client.get("/openapi.json").json()


@pytest.fixture(scope="module")
def operations(contract):
    return [(path, method, one) for path, item in contract["paths"].items() for method, one in item.items()]


def test_the_methods_there_are(operations):
    assert {method for _, method, _ in operations} == METHODS


def test_every_error_of_every_operation_is_a_problem(operations):
    for path, method, one in operations:
        errors = {status: answer for status, answer in one["responses"].items() if status >= "4"}
        keyed = {"401", "429"} if one["security"] else set()
        assert {"400", "403", "422", "500", "503"} | keyed <= set(errors), (path, method)
        for answer in errors.values():
            assert list(answer["content"]) == ["application/problem+json"]
            content = answer["content"]["application/problem+json"]
            assert content["schema"] == {"$ref": "#/components/schemas/Problem"}
            for slug, told in content["examples"].items():
                assert told["value"]["status"] == PROBLEMS[slug].status


def test_operations_on_one_thing_declare_that_it_may_be_missing(operations):
    for path, method, one in operations:
        if "{" in path:
            assert "404" in one["responses"], (path, method)


def test_answers_hold_no_defaults_and_take_no_more_fields(contract):
    for name in ("Station", "Mark", "Fit", "Windows", "Timeline", "Heights"):
        schema = contract["components"]["schemas"][name]
        assert set(schema["required"]) == set(schema["properties"]), name
        assert schema["additionalProperties"] is False


def test_every_reference_is_there(contract):
    def references(value):
        if isinstance(value, dict):
            found = [value["$ref"]] if isinstance(value.get("$ref"), str) else []
            return found + [one for item in value.values() for one in references(item)]
        return [one for item in value for one in references(item)] if isinstance(value, list) else []

    named = {reference.rsplit("/", 1)[1] for reference in references(contract)}
    assert named <= set(contract["components"]["schemas"])
    assert "HTTPValidationError" not in contract["components"]["schemas"]


@pytest.mark.parametrize(
    ("name", "module"),
    [
        ("create_station", stations),
        ("create_mark", marks),
        ("create_species_rule", species_rules),
        ("search_windows", windows),
    ],
)
def test_the_examples_are_those_of_the_contract(name, module, contract):
    assert example(name) == module.EXAMPLE
    shown = [one for schema in contract["components"]["schemas"].values() for one in schema.get("examples", ())]
    assert module.EXAMPLE in shown


def test_the_examples_work_in_their_order(client):
    order = {
        "create_station": ("/v1/stations", 201),
        "create_mark": ("/v1/marks", 201),
        "create_species_rule": ("/v1/species-rules", 201),
        "search_windows": ("/v1/windows/search", 200),
    }
    assert {path.stem for path in EXAMPLES.glob("*.json")} == set(order)
    for name, (path, status) in order.items():
        response = client.post(path, json=example(name))
        assert response.status_code == status, response.text
    assert response.json()["windows"]
