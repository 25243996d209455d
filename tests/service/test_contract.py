"""The contract: errors declared, examples that work."""

from __future__ import annotations

import json
import re

import pytest

from service.api.problem_types import PROBLEMS
from service.api.problems import PATTERNS
from service.api.v1.schemas import marks, methods, regulations, species_rules, stations, windows
from tests.service.coast import EXAMPLES, SPAN, example

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
    for name in ("Station", "Mark", "Fit", "Job", "Windows", "Timeline", "Heights"):
        schema = contract["components"]["schemas"][name]
        assert set(schema["required"]) == set(schema["properties"]), name
        assert schema["additionalProperties"] is False


def test_every_reference_is_there(contract):
    def references(value):
        if isinstance(value, dict):
            found = [value["$ref"]] if isinstance(value.get("$ref"), str) else []
            return found + [one for item in value.values() for one in references(item)]
        return [one for item in value for one in references(item)] if isinstance(value, list) else []

    named = {tuple(reference.split("/")) for reference in references(contract)}
    rooms = contract["components"]
    assert named <= {("#", "components", room, name) for room in ("schemas", "links") for name in rooms[room]}
    assert "HTTPValidationError" not in contract["components"]["schemas"]


def test_what_breaks_a_pattern_is_told_in_words(contract):
    """A regular expression tells a person nothing; those with a validator of their own are checked where that is."""
    own = {r"^([1-9]\d?)(/0)?$"}
    spelled = set(re.findall(r'"pattern":"(\^(?:[^"\\]|\\.)*)"', json.dumps(contract, separators=(",", ":"))))
    assert {json.loads(f'"{one}"') for one in spelled} == {*PATTERNS, *own}


@pytest.mark.parametrize(
    ("path", "query", "said"),
    [
        (
            "/v1/heights",
            {"station_id": "stn_1", **SPAN, "step": "7q"},
            "expected a whole number and s, min, h or d",
        ),
        ("/v1/stations", {"limit": "0"}, "limit: is '0', expected greater than or equal to 1"),
        (
            "/v1/timelines",
            {"mark_id": "mrk_1", **SPAN, "factor": "flow_strenght"},
            "flow_strength, or another of",
        ),
    ],
)
def test_what_was_given_and_what_was_likely_meant_is_told(client, path, query, said):
    answer = client.get(path, params=query)
    assert answer.status_code == 422
    assert said in answer.json()["detail"]


def test_every_answer_with_an_id_leads_to_the_operations_on_it(contract):
    operations = {one["operationId"]: one for item in contract["paths"].values() for one in item.values()}
    for name, link in contract["components"]["links"].items():
        _, _, operation = name.partition(".")
        taken = {one["name"] for one in operations[operation]["parameters"]}
        assert set(link["parameters"]) <= taken, name
        assert link["operationId"] == operation
        assert ("If-Match" in taken) == ("If-Match" in link["parameters"]), name
    made = {
        ("create_station", "201"): {"get_station", "patch_station", "delete_station", "create_fit", "get_heights"},
        ("put_station", "200"): {"get_station", "replace_station", "get_flow"},
        ("create_fit", "202"): {"get_fit", "adopt_fit", "get_job", "cancel_job"},
        ("get_job", "200"): {"get_job", "cancel_job"},
        ("replace_mark", "200"): {"get_mark", "patch_mark", "delete_mark", "get_timeline", "list_mark_versions"},
        ("put_method", "200"): {"get_method", "replace_method", "delete_method", "list_method_versions"},
        ("put_species_rule", "201"): {"get_species_rule", "replace_species_rule", "delete_species_rule"},
    }
    for (operation, status), wanted in made.items():
        linked = {link.partition(".")[2] for link in operations[operation]["responses"][status]["links"]}
        assert wanted <= linked, operation


@pytest.mark.parametrize(
    ("name", "module"),
    [
        ("create_station", stations),
        ("create_mark", marks),
        ("create_species_rule", species_rules),
        ("create_method", methods),
        ("create_regulation", regulations),
        ("search_windows", windows),
    ],
)
def test_the_examples_are_those_of_the_contract(name, module, contract):
    assert example(name) == module.EXAMPLE
    shown = [one for schema in contract["components"]["schemas"].values() for one in schema.get("examples", ())]
    assert module.EXAMPLE in shown
    assert example("create_mark_in_full") == marks.FULL_EXAMPLE
    assert marks.FULL_EXAMPLE in shown


def test_the_examples_work_in_their_order(client):
    order = {
        "create_station": ("/v1/stations", 201),
        "create_mark": ("/v1/marks", 201),
        "create_mark_in_full": ("/v1/marks", 201),
        "create_species_rule": ("/v1/species-rules", 201),
        "create_method": ("/v1/methods", 201),
        "create_regulation": ("/v1/regulations", 201),
        "create_trip": ("/v1/trips", 201),
        "create_diary_row": ("/v1/diary-rows", 201),
        "search_windows": ("/v1/windows/search", 200),
    }
    assert {path.stem for path in EXAMPLES.glob("*.json")} == set(order)
    for name, (path, status) in order.items():
        response = client.post(path, json=example(name))
        assert response.status_code == status, response.text
    assert response.json()["windows"]
