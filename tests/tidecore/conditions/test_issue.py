from __future__ import annotations

from typing import Any

import pytest

from tests.tidecore.conditions.issues import issue, moment
from tidecore.conditions import VARIABLES, ConditionIssue
from tidecore.conditions.issue import Values
from tidecore.errors import InvalidInput

PLAIN: dict[str, Any] = {
    "kind": "forecast",
    "source": "Invented Met",
    "issued_at": "2026-10-05T00:00:00Z",
    "waves_at": "offshore",
    "wave_period_kind": "peak",
    "times": ["2026-10-05T00:00:00Z", "2026-10-05T03:00:00Z"],
    "values": {"wave_height_m": [1.0, 1.5], "wave_period_s": [8.0, None]},
}


def faults(**changes: Any) -> list[tuple[str, str, str]]:
    with pytest.raises(InvalidInput) as refused:
        ConditionIssue.parse(PLAIN | changes)
    return [(fault.field, fault.problem, fault.expected) for fault in refused.value.faults]


def fields(**changes: Any) -> list[str]:
    return [field for field, _, _ in faults(**changes)]


def test_a_document_comes_back():
    read = ConditionIssue.parse(PLAIN)
    assert read.to_document() == PLAIN | {"valid_until": None}
    assert ConditionIssue.parse(read.to_document()) == read


def test_instants_are_told_in_utc():
    read = ConditionIssue.parse(PLAIN | {"issued_at": "2026-10-05T01:30:00+01:30"})
    assert read.to_document()["issued_at"] == "2026-10-05T00:00:00Z"


def test_every_variable_has_its_field():
    assert list(Values.model_fields) == [variable.name for variable in VARIABLES]


@pytest.mark.parametrize("variable", VARIABLES, ids=lambda variable: variable.name)
def test_a_variable_takes_its_bounds_and_nothing_beyond(variable: Any) -> None:
    given: Any = {"waves_at": "offshore", "wave_period_kind": "peak"}
    if variable.kind == "category":
        for value in variable.categories:
            assert issue([0], None, **{variable.name: [value]})
        with pytest.raises(InvalidInput, match=variable.name):
            issue([0], None, **{variable.name: ["other"]})
        return
    least = variable.lowest + (0.1 if variable.above_lowest else 0.0)
    assert issue([0, 1], None, **{variable.name: [least, variable.highest]}, **given)
    beyond = (variable.lowest if variable.above_lowest else variable.lowest - 0.1, variable.highest + 0.1)
    for value in (*beyond, float("nan"), "1", True):
        with pytest.raises(InvalidInput, match=rf"values\.{variable.name}\.0: is"):
            issue([0], None, **{variable.name: [value]}, **given)


def test_all_faults_of_values_are_told_at_once():
    found = faults(
        values={
            "wave_height_m": [-1.0, 1.0],
            "wave_from_degree": [400.0, 0.0],
            "wave_period_s": [1.0, 0.0],
            "wave_height_ft": [1.0, 1.0],
        }
    )
    assert [field for field, _, _ in found] == [
        "values.wave_height_m.0",
        "values.wave_period_s.1",
        "values.wave_from_degree.0",
        "values.wave_height_ft",
    ]
    assert found[-1][1] == "is no variable that is known, or not in its unit"
    assert "wave_height_m" in found[-1][2]


def test_all_faults_between_fields_are_told_at_once():
    found = faults(
        waves_at=None,
        wave_period_kind=None,
        valid_until="2026-10-04T00:00:00Z",
        times=["2026-10-05T03:00:00Z", "2026-10-05T00:00:00Z"],
        values={"wave_height_m": [1.0], "wave_period_s": [8.0, 8.0], "rain_mm_per_h": [None, None]},
    )
    assert [field for field, _, _ in found] == [
        "times.1",
        "values.wave_height_m",
        "values.rain_mm_per_h",
        "waves_at",
        "wave_period_kind",
        "valid_until",
    ]
    assert found[4][2].startswith("'peak' (Tp), 'energy' (Tm-1,0) or 'zero_crossing' (Tz)")


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"issued_at": "2026-10-05T04:00:00Z"}, "times", "before the issue at 2026-10-05T04:00:00Z"),
        ({"kind": "observation"}, "times", "after the issue"),
        ({"times": []}, "times", "is empty"),
        ({"times": ["2026-10-05T00:00:00", "2026-10-05T03:00:00Z"]}, "times.0", "is '2026-10-05T00:00:00'"),
        ({"times": ["2026-13-05T00:00:00Z", "2026-10-05T03:00:00Z"]}, "times.0", "no instant of the calendar"),
        ({"times": ["0026-10-05T00:00:00Z", "2026-10-05T03:00:00Z"]}, "times.0", "is 0026"),
        ({"times": [1, "2026-10-05T03:00:00Z"]}, "times.0", "is 'int'"),
        ({"values": {}}, "values", "holds no variable"),
        ({"source": " "}, "source", "is ' '"),
        ({"wave_period_kind": "mean"}, "wave_period_kind", "is 'mean'"),
        ({"unit": "ft"}, "unit", "is not a field of this document"),
    ],
)
def test_what_is_wrong_is_named(changes, field, said):
    found = faults(**changes)
    assert [one for one, _, _ in found] == [field]
    assert said in found[0][1]


def test_a_forecast_may_begin_before_its_issue():
    assert issue([0, 1, 2], issued=1.5, rain_mm_per_h=[0, 0, 0]).times[0].hour == 0


def test_what_is_no_document_is_refused():
    with pytest.raises(InvalidInput, match="document: is 'x'; expected a JSON object"):
        ConditionIssue.parse("x")


def test_the_schema_names_every_variable():
    values = ConditionIssue.model_json_schema()["$defs"]["Values"]["properties"]
    assert set(values) == {variable.name for variable in VARIABLES}
    assert values["wave_height_m"]["description"] == "Significant wave height. [m]"


def test_moment_writes_what_the_document_takes():
    assert moment(1.5) == "2026-10-05T01:30:00Z"
