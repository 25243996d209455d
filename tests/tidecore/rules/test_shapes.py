from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tidecore.rules.shapes import Cyclic, Trapezoid, ValueSet
from tidecore.timeline.registry import find_factor

NAN = math.nan


def trapezoid(**corners: Any) -> Trapezoid:
    return Trapezoid.parse({"kind": "trapezoid", **corners})


@pytest.mark.parametrize(
    ("corners", "value", "suits"),
    [
        ({"from": 0, "full_from": 2, "full_to": 5, "to": 9}, -0.1, 0.0),
        ({"from": 0, "full_from": 2, "full_to": 5, "to": 9}, 0.5, 0.25),
        ({"from": 0, "full_from": 2, "full_to": 5, "to": 9}, 2.0, 1.0),
        ({"from": 0, "full_from": 2, "full_to": 5, "to": 9}, 6.0, 0.75),
        ({"from": 0, "full_from": 2, "full_to": 5, "to": 9}, 9.0, 0.0),
        ({"from": 0, "full_from": 2}, 1e6, 1.0),
        ({"full_to": 0, "to": 2}, -1e6, 1.0),
        ({"full_to": 0, "to": 2}, 1.5, 0.25),
        ({"from": 1, "full_from": 1, "full_to": 2, "to": 2}, 1.0, 1.0),
        ({"from": 1, "full_from": 1, "full_to": 2, "to": 2}, 2.0, 1.0),
        ({"from": 1, "full_from": 1, "full_to": 2, "to": 2}, 2.0000001, 0.0),
        ({"from": 1, "full_from": 1, "full_to": 2, "to": 2}, 0.9999999, 0.0),
        ({"from": 3, "full_from": 3, "full_to": 3, "to": 3}, 3.0, 1.0),
        ({"from": 0, "full_from": 1}, NAN, NAN),
        ({"from": 1, "full_from": 1}, NAN, NAN),
    ],
)
def test_a_trapezoid_rises_holds_and_falls(corners: dict[str, float], value: float, suits: float) -> None:
    found = trapezoid(**corners).membership(np.array([value]), find_factor("height"))
    np.testing.assert_allclose(found, [suits], atol=1e-15)


@pytest.mark.parametrize(
    ("factor", "corners", "value", "suits"),
    [
        ("month", (11, 11, 3, 3), 10.0, 0.0),
        ("month", (11, 11, 3, 3), 11.0, 1.0),
        ("month", (11, 11, 3, 3), 12.0, 1.0),
        ("month", (11, 11, 3, 3), 1.0, 1.0),
        ("month", (11, 11, 3, 3), 3.0, 1.0),
        ("month", (11, 11, 3, 3), 4.0, 0.0),
        ("month", (12, 12, 12, 12), 12.0, 1.0),
        ("wind_from", (300, 340, 20, 60), 320.0, 0.5),
        ("wind_from", (300, 340, 20, 60), 0.0, 1.0),
        ("wind_from", (300, 340, 20, 60), 360.0, 1.0),
        ("wind_from", (300, 340, 20, 60), 50.0, 0.25),
        ("wind_from", (300, 340, 20, 60), 180.0, 0.0),
        ("tide_phase", (0.4, 0.5, 0.5, 0.7), 0.6, 0.5),
        ("tide_phase", (0.4, 0.5, 0.5, 0.7), NAN, NAN),
    ],
)
def test_a_cyclic_shape_goes_round(
    factor: str, corners: tuple[float, float, float, float], value: float, suits: float
) -> None:
    names = ("from", "full_from", "full_to", "to")
    shape = Cyclic.parse({"kind": "cyclic", **dict(zip(names, corners, strict=True))})
    assert shape.fits(find_factor(factor)) is None
    np.testing.assert_allclose(shape.membership(np.array([value]), find_factor(factor)), [suits], atol=1e-12)


def test_a_set_holds_or_not_and_unknown_stays_unknown() -> None:
    light = ValueSet.parse({"kind": "set", "values": ["night", "astronomical_twilight"]})
    values = np.array(["day", "night", ""])
    np.testing.assert_array_equal(light.membership(values, find_factor("light")), [0.0, 1.0, NAN])
    known = ValueSet.parse({"kind": "set", "values": [False]})
    values = np.array([1, 0, -1], dtype=np.int8)
    np.testing.assert_array_equal(known.membership(values, find_factor("flow_reliable")), [0.0, 1.0, NAN])
