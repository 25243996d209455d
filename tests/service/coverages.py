"""What a CoverageJSON document must be: the rules of OGC 21-069r2, chapters 6 to 9, that bear on collections of series.

Typed in from the standard, and from the JSON Schema that its authors publish (covjson-validator); and read by the
models of covjson-pydantic, which others keep.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from covjson_pydantic.coverage import CoverageCollection

DATA_TYPES = {"float": (float, int), "integer": (int,), "string": (str,)}


def check_collection(document: Any) -> list[Any]:
    """Check a CoverageCollection, and return its coverages."""
    CoverageCollection.model_validate_json(json.dumps(document))
    assert document["type"] == "CoverageCollection"
    coverages: list[Any] = document["coverages"]
    assert isinstance(coverages, list)
    for coverage in coverages:
        # 6.4: a coverage has a domain and ranges, and, where the collection has none, parameters.
        assert coverage["type"] == "Coverage"
        assert isinstance(coverage["id"], str)
        size = check_domain(coverage["domain"])
        assert coverage["parameters"]
        assert set(coverage["ranges"]) <= set(coverage["parameters"])
        for name, parameter in coverage["parameters"].items():
            check_parameter(parameter)
            check_range(coverage["ranges"][name], size, parameter)
        if "domainType" in document:
            assert coverage["domain"]["domainType"] == document["domainType"]
    return coverages


def check_domain(domain: Any) -> int:
    """Check a domain of time, at one point where it is a PointSeries; return how many instants it has."""
    assert domain["type"] == "Domain"
    axes = domain["axes"]
    if domain.get("domainType") == "PointSeries":
        # 9.11.5: x and y are required and have one coordinate each, t is required.
        assert set(axes) == {"x", "y", "t"}
        assert [len(axes[name]["values"]) for name in "xy"] == [1, 1]
        assert -180 <= axes["x"]["values"][0] <= 180
        assert -90 <= axes["y"]["values"][0] <= 90
    else:
        assert "domainType" not in domain
        assert set(axes) == {"t"}
    instants = axes["t"]["values"]
    assert instants, "no axis is empty"
    read = [datetime.fromisoformat(text) for text in instants]
    assert all(one.tzinfo is not None for one in read)
    # 6.1.1: the values of an axis are ordered.
    assert read == sorted(set(read))
    referenced = [name for one in domain["referencing"] for name in one["coordinates"]]
    assert sorted(referenced) == sorted(axes), "every coordinate has its reference system, once"
    for one in domain["referencing"]:
        system = one["system"]
        if "t" in one["coordinates"]:
            assert system == {"type": "TemporalRS", "calendar": "Gregorian"}
        else:
            assert system["type"] == "GeographicCRS"
            assert system["id"].startswith("http://www.opengis.net/def/crs/")
    return len(instants)


def check_parameter(parameter: Any) -> None:
    """Check a parameter."""
    assert parameter["type"] == "Parameter"
    observed = parameter["observedProperty"]
    for text in (observed["label"], parameter["description"]):
        assert isinstance(text["en"], str)
    assert observed["label"]["en"]
    if "categories" in observed:
        # 5.3: one with categories has no unit.
        assert "unit" not in parameter
        assert all(one["id"] and one["label"]["en"] for one in observed["categories"])
        ids = [one["id"] for one in observed["categories"]]
        assert set(parameter["categoryEncoding"]) == set(ids)
        codes = list(parameter["categoryEncoding"].values())
        assert sorted(set(codes)) == sorted(codes)
        assert all(type(code) is int for code in codes)
    else:
        assert "categoryEncoding" not in parameter
    if "unit" in parameter:
        # 5.2: a label, a symbol, or both; a symbol with its scheme is an object.
        assert parameter["unit"]["label"]["en"]
        assert parameter["unit"]["symbol"]["value"]
        assert parameter["unit"]["symbol"]["type"] == "http://www.opengis.net/def/uom/UCUM/"


def check_range(array: Any, size: int, parameter: Any) -> None:
    """Check an NdArray over time."""
    assert array["type"] == "NdArray"
    assert array["axisNames"] == ["t"]
    assert array["shape"] == [size] == [len(array["values"])]
    kinds = DATA_TYPES[array["dataType"]]
    assert all(value is None or (type(value) in kinds) for value in array["values"])
    if "categoryEncoding" in parameter:
        assert array["dataType"] == "integer"
        assert set(array["values"]) - {None} <= set(parameter["categoryEncoding"].values())


def decoded(coverage: Any, name: str) -> list[Any]:
    """Return the values of a parameter, categories as their ids and truths as bool."""
    values = coverage["ranges"][name]["values"]
    encoding = coverage["parameters"][name].get("categoryEncoding")
    if encoding is None:
        return list(values)
    names = {code: key for key, code in encoding.items()}
    read = [None if value is None else names[value] for value in values]
    return [one == "true" if one in ("true", "false") else one for one in read]
