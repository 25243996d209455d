"""Species declared at a mark: overrides are JSON objects, and nothing more is asked of them here."""

from __future__ import annotations

import math

import pytest

from tests.tidecore.place.marks import document, faults_of
from tidecore.place import Mark


def declared(override: object) -> list[dict[str, object]]:
    return [{"scientific_name": "Piscis inventus", "override": override}]


def nested(depth: int) -> object:
    return {"a": nested(depth - 1)} if depth else 1


def test_an_override_comes_back_as_it_was_sent():
    override = {"require": [{"factor": "anything", "shape": {"kind": "set", "values": ["a", 1, None, True, 0.5]}}]}
    mark = Mark.parse(document(species=declared(override)))
    assert mark.to_document()["species"][0]["override"] == override


def test_a_species_is_declared_once():
    found = faults_of(species=[{"scientific_name": name} for name in ("Piscis a", "Piscis b", "piscis A", "Piscis a")])
    assert set(found) == {"species.2.scientific_name", "species.3.scientific_name"}
    assert "species.0" in found["species.2.scientific_name"]


@pytest.mark.parametrize(
    ("override", "words"),
    [
        ([], "an object"),
        ("require", "an object"),
        ({"note": "x" * 20_000}, "20000 bytes"),
        ({"note": "ä" * 10_000}, "20000 bytes"),
        (nested(22), "nested too deep"),
        ({"require": [math.nan]}, "finite"),
        ({"require": [math.inf]}, "finite"),
        ({"note": "\ud800"}, "U+D800"),
        ({"a\x00": 1}, "U+0000"),
        ({"a": {1: 1}}, "names that are text"),
        ({"require": {1, 2}}, "what JSON can say"),
    ],
)
def test_what_is_no_json_object_is_refused(override, words):
    found = faults_of(species=declared(override))
    assert set(found) == {"species.0.override"}
    assert words in found["species.0.override"]
