"""No published output moves unless `tidecore.NUMERICS` is raised: golden values of an invented station and mark.

A number may differ by one unit of what is published (time 1 s, height 1 mm, score and everything else 0.001), so that
another machine's arithmetic passes; what is said, and what is unknown, may not differ at all.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest

from tests.reference.golden import FILE, compute
from tidecore import NUMERICS
from tidecore.timeline import factors

WHAT_TO_DO = (
    "raise tidecore.NUMERICS and put a line in the changelog that says by how much what moved, then write the values "
    "anew: python -m tests.reference.golden"
)
#: One unit of what is published [s, and any other unit].
SECOND, UNIT = 1.0, 0.001
#: Factors published more finely, by unit.
FINER = {"h": 1e-4, "d": 1e-5}
#: Factors published more coarsely, by unit.
COARSER = {"min": 0.01}


def tolerance(path: tuple[str, ...]) -> float:
    """How far a number may move."""
    if path[-1].endswith("_s"):
        return SECOND
    if path[0] == "timeline":
        unit = factors()[path[-1]].unit
        return {**FINER, **COARSER}.get(unit, UNIT)
    return UNIT


def moved(golden: Any, found: Any, path: tuple[str, ...] = ()) -> Iterator[str]:
    """Say what differs between golden values and those found."""
    where = ".".join(path)
    if isinstance(golden, dict):
        if set(golden) != set(found):
            yield f"{where}: {sorted(set(golden) ^ set(found))} on one side only"
        for name in golden.keys() & found.keys():
            yield from moved(golden[name], found[name], (*path, name))
    elif isinstance(golden, list):
        if len(golden) != len(found):
            yield f"{where}: {len(found)} values, not {len(golden)}"
        for place, (one, other) in enumerate(zip(golden, found, strict=False)):
            if isinstance(one, float) and isinstance(other, float):
                # Half an ulp of the published unit is the arithmetic's, not the output's.
                if abs(one - other) > tolerance(path) * (1 + 1e-9):
                    yield f"{where}[{place}]: {other!r}, not {one!r}"
            elif one != other:
                yield f"{where}[{place}]: {other!r}, not {one!r}"
    elif golden != found:
        yield f"{where}: {found!r}, not {golden!r}"


@pytest.fixture(scope="module")
def golden():
    return json.loads(FILE.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def found():
    return json.loads(json.dumps(compute()))


def test_the_values_are_those_of_this_number(golden):
    assert golden["numerics"] == NUMERICS, (
        f"NUMERICS is {NUMERICS}, the values are of {golden['numerics']}: {WHAT_TO_DO}"
    )


def test_no_output_has_moved(golden, found):
    said = list(moved(golden, found))
    assert said == [], "\n".join([*said[:20], WHAT_TO_DO])


def test_the_values_hold_something_of_everything(golden):
    assert len(golden["heights_m"]) == 168
    assert len(golden["extremes"]["time_s"]) > 20
    assert len(golden["windows"]["mean_score"]) > 3
    assert any(value is not None for value in golden["extremes"]["stand_start_s"])
    assert {one.split()[1] for one in golden["extremes"]["said"]} == {"True", "False"}, "primary and secondary"
    assert set(golden["timeline"]) == {name for name, factor in factors().items() if factor.compute is not None}


@pytest.mark.parametrize(
    ("path", "by", "seen"),
    [
        (("heights_m",), 0.0011, True),
        (("heights_m",), 0.0009, False),
        (("flow_index",), -0.0011, True),
        (("extremes", "time_s"), 1.1, True),
        (("extremes", "time_s"), 0.9, False),
        (("extremes", "height_m"), 0.0011, True),
        (("windows", "mean_score"), 0.0011, True),
        (("windows", "start_s"), -1.1, True),
        (("timeline", "sun_altitude"), 0.0011, True),
        (("timeline", "days_from_springs"), 1.1e-5, True),
    ],
)
def test_a_moved_value_is_seen(golden, path, by, seen):
    changed = copy.deepcopy(golden)
    values: Any = changed
    for name in path:
        values = values[name]
    values[2] += by
    assert bool(list(moved(golden, changed))) is seen


def test_another_word_a_missing_value_and_a_missing_row_are_seen(golden):
    for path, change in (
        (("extremes", "said"), lambda values: values.__setitem__(0, "low")),
        (("timeline", "light"), lambda values: values.__setitem__(0, "noon")),
        (("timeline", "height"), lambda values: values.__setitem__(0, None)),
        (("windows", "end_s"), lambda values: values.pop()),
    ):
        changed = copy.deepcopy(golden)
        values: Any = changed
        for name in path:
            values = values[name]
        change(values)
        assert list(moved(golden, changed)), path
