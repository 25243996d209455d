"""What a document says of a field that there is not: the fields there are, the one that was likely meant first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

import pytest
from pydantic import Field

from tidecore.documents import Document, Name, Number, fields_for
from tidecore.errors import InvalidInput


class Round(Document):
    kind: Literal["round"]
    radius_m: Number


class Square(Document):
    kind: Literal["square"]
    side_m: Number
    from_: Annotated[Number | None, Field(alias="from")] = None


class Pool(Document):
    kinded = frozenset({"shape"})

    name: Name
    shape: Annotated[Round | Square, Field(discriminator="kind")]
    depths: tuple[Square, ...] = ()
    by_name: Mapping[str, Round] = {}
    inner: Pool | None = None


WHOLE = {"name": "Invented", "shape": {"kind": "round", "radius_m": 2}}


def faults(document):
    with pytest.raises(InvalidInput) as caught:
        Pool.parse(document)
    return {one.field: one.expected for one in caught.value.faults}


@pytest.mark.parametrize(
    ("more", "field", "expected"),
    [
        ({"nmae": "x"}, "nmae", "name, or another of: shape, depths, by_name, inner"),
        ({"colour": "x"}, "colour", "one of: name, shape, depths, by_name, inner"),
        # Of the kind that it is, and of no other.
        ({"shape": {"kind": "round", "radius_m": 2, "side_m": 1}}, "shape.side_m", "one of: kind, radius_m"),
        # By the name that it has in JSON.
        (
            {"depths": [{"kind": "square", "side_m": 1, "form": 2}]},
            "depths.0.form",
            "from, or another of: kind, side_m",
        ),
        (
            {"by_name": {"a": {"kind": "round", "radius_m": 1, "radius": 2}}},
            "by_name.a.radius",
            "radius_m, or another of: kind",
        ),
        ({"inner": {**WHOLE, "inner": {**WHOLE, "nam": 1}}}, "inner.inner.nam", "name, or another of: shape"),
        ({"x" * 500: 1}, "'" + "x" * 56 + "...", "one of: name, shape"),
    ],
)
def test_a_field_that_there_is_not_is_told_those_there_are(more, field, expected):
    found = faults({**WHOLE, **more})
    assert list(found) == [field]
    assert found[field].startswith(expected)


def test_where_nothing_is_known_of_the_whole_no_name_is_made_up():
    assert fields_for(None, ("a",)) == "no such field"
    assert fields_for(dict[str, int], ("a", "b")) == "no such field"


def test_lists_and_objects_are_called_as_json_calls_them():
    assert faults({**WHOLE, "depths": 3}) == {"depths": "an array"}
    assert faults({**WHOLE, "inner": 3}) == {"inner": "an object"}
