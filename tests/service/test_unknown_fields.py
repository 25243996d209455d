"""A field or parameter that nobody knows: the answer names those there are, the one that was likely meant first."""

from __future__ import annotations

import json

import pytest

from tests.house.examples import blocks, guide
from tests.service.problems import problem


@pytest.mark.parametrize(
    ("path", "body", "field", "expected"),
    [
        (
            "/v1/windows/search",
            {"start": "2026-06-01T00:00Z", "end": "2026-06-02T00:00Z", "limt": 3},
            "limt",
            "limit, ",
        ),
        (
            "/v1/species-rules",
            {
                "name": "Invented",
                "species": {"scientific_name": "Gadus morhua"},
                "prefer": [{"factor": "height", "shape": {"kind": "trapezoid", "full_from": 1, "from": 0, "form": 1}}],
            },
            "prefer.0.shape.form",
            "from, or another of: kind",
        ),
        ("/v1/trips", {"trip": {"mark": "x", "begin": 1}}, "trip.begin", "one of: mark, start, end"),
        ("/v1/stations", {"model": {"constituents": {"M2": {"phase": 1}}}}, "model.constituents.M2.phase", "phase_deg"),
    ],
)
def test_an_unknown_field_is_told_those_there_are(client, path, body, field, expected):
    answer = problem(client.post(path, json=body), 422, "invalid-request", field)
    told = next(one for one in answer["errors"] if one["field"] == field)
    assert told["in"] == "body"
    assert told["expected"].startswith(expected)


def test_an_unknown_parameter_is_told_those_there_are(client):
    answer = problem(client.get("/v1/marks?limt=3"), 422, "invalid-input", "limt")
    assert answer["errors"][0]["expected"].startswith("limit, or another of: ")


def test_the_problem_in_the_guide_is_the_one_that_is_answered(client):
    text = guide("openapi/guides/programs.md")
    sent = json.loads(text.partition("To\n`")[2].partition("`")[0])
    shown = json.loads(next(block.code for block in blocks(text) if block.language == "json"))
    answer = problem(client.post("/v1/windows/search", json=sent), 422, "invalid-request")
    assert {name: answer[name] for name in shown} == shown
