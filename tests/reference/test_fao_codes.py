"""Three-letter codes and scientific names of the species that the program and its demo coast name.

Source: FAO, ASFIS List of Species for Fishery Statistics Purposes, as ICES keeps it for its overviews (repository
ices-taf/2022_NrS_FisheriesOverview, bootstrap/data/FAO_ASFIS_species/species_list.csv).
"""

from __future__ import annotations

import json

import pytest

from tests.conftest import ROOT
from tidecore.catchlog.sizes import _LONGEST

#: Looked up in the list: code and scientific name.
LISTED = {
    "BSS": "Dicentrarchus labrax",
    "COD": "Gadus morhua",
    "DAB": "Limanda limanda",
    "FLE": "Platichthys flesus",
    "MLR": "Chelon labrosus",
    "PLE": "Pleuronectes platessa",
    "SOL": "Solea solea",
    "SPU": "Dicentrarchus punctatus",
    "USB": "Labrus bergylta",
    "WHG": "Merlangius merlangus",
}
#: From memory, not looked up.
RECALLED = {
    "COE": "Conger conger",
    "MAC": "Scomber scombrus",
    "RJC": "Raja clavata",
    "SDS": "Mustelus asterias",
    "SMD": "Mustelus mustelus",
}


def named(value):
    """Every species in a document, as code and name."""
    if isinstance(value, dict):
        if value.get("fao_code") is not None:
            yield value["fao_code"], value["scientific_name"]
        for item in value.values():
            yield from named(item)
    elif isinstance(value, list):
        for item in value:
            yield from named(item)


def test_the_demo_coast_names_species_as_the_list_does():
    found = {
        pair
        for path in sorted((ROOT / "demo_stations").glob("*/*.json"))
        for pair in named(json.loads(path.read_text()))
    }
    assert found
    assert found <= (LISTED | RECALLED).items()
    assert len({code for code, _ in found} & set(LISTED)) >= 9


@pytest.mark.parametrize(("code", "name"), [(code, name) for code, name, _ in _LONGEST])
def test_longest_lengths_are_of_species_of_the_list(code, name):
    assert (LISTED | RECALLED)[code] == name
