from __future__ import annotations

import json
import math
import pickle
from typing import Any

import pytest
from pydantic import ValidationError

from tidecore.errors import InvalidInput, InvalidPosition
from tidecore.place import Mark, Position


def document(**changes: Any) -> dict[str, Any]:
    plain = {
        "name": "Long Ledge",
        "latitude": 50.25,
        "longitude": -4.5,
        "time_zone": "Etc/UTC",
        "station": "invented-1",
        "kind": "rock_ledge",
        "beds": ["rough_rock_and_kelp", "clean_sand"],
        "slack_lags": {"after_hw_min": 35, "after_lw_min": -12.5},
        "notes": "Two lines\nof text.",
    }
    plain.update(changes)
    return plain


def faults_of(plain: object) -> dict[str, str]:
    with pytest.raises(InvalidInput) as caught:
        Mark.parse(plain)
    return {fault.field: f"{fault.problem}; {fault.expected}" for fault in caught.value.faults}


def test_a_mark_survives_json_and_pickling() -> None:
    mark = Mark.parse(document())
    assert Mark.parse(json.loads(json.dumps(mark.to_document()))) == mark
    assert pickle.loads(pickle.dumps(mark)) == mark
    assert mark.position == Position(50.25, -4.5)
    assert mark.flow_reliable
    assert Mark.parse(mark) is mark


def test_a_mark_without_lags_has_no_reliable_flow() -> None:
    plain = document()
    del plain["slack_lags"]
    assert not Mark.parse(plain).flow_reliable
    assert not Mark.parse(document(slack_lags=None)).flow_reliable


def test_a_mark_cannot_be_changed() -> None:
    mark = Mark.parse(document())
    with pytest.raises(ValidationError, match="frozen"):
        mark.name = "Other"


def test_all_faults_come_at_once_with_their_paths() -> None:
    found = faults_of(
        document(
            name="",
            latitude=95,
            longitude="west",
            time_zone="Mars/Base",
            kind="moon",
            beds=["mud", "concrete"],
            slack_lags={"after_hw_min": 600, "after_lw_min": math.nan, "x": 1},
            colour="red",
        )
    )
    assert set(found) == {
        "name",
        "latitude",
        "longitude",
        "time_zone",
        "kind",
        "beds.1",
        "slack_lags.after_hw_min",
        "slack_lags.after_lw_min",
        "slack_lags.x",
        "colour",
    }
    assert "95" in found["latitude"]
    assert "90" in found["latitude"]
    assert "open_beach" in found["kind"]


def test_missing_fields_are_named() -> None:
    assert set(faults_of({})) == {"name", "latitude", "longitude", "time_zone", "station", "kind"}


@pytest.mark.parametrize("plain", [None, [], "mark", 3])
def test_what_is_no_object_is_refused(plain: object) -> None:
    assert "JSON object" in faults_of(plain)["document"]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", "a\x00b"),
        ("name", "\ud800"),
        ("name", "   "),
        ("name", "two\nlines"),
        ("name", "x" * 121),
        ("notes", "bell \x07"),
        ("notes", "x" * 4001),
        ("station", ""),
        ("latitude", True),
        ("latitude", "50.1"),
        ("latitude", math.inf),
        ("longitude", -180.5),
        ("beds", ["mud"] * 12),
        ("time_zone", "../../etc/passwd"),
        ("time_zone", "/Etc/UTC"),
        ("time_zone", "localtime"),
        ("time_zone", "Europe"),
        ("time_zone", "Etc/UTC\x00"),
        ("slack_lags", {"after_hw_min": 10}),
    ],
)
def test_each_bad_value_is_a_fault_of_its_field(field: str, value: object) -> None:
    found = faults_of(document(**{field: value}))
    assert [name.split(".")[0] for name in found] == [field]
    json.dumps(found).encode("utf-8")


def test_a_flood_of_faults_is_bounded() -> None:
    with pytest.raises(InvalidInput) as caught:
        Mark.parse(document(**{f"extra_{k}": k for k in range(1000)}))
    assert len(caught.value.faults) == 101
    assert "900 more" in caught.value.faults[-1].problem


@pytest.mark.parametrize(("key", "shown"), [("\ud800", "'\\ud800'"), ("a b", "'a b'"), (7, "7")])
def test_a_strange_field_name_is_shown_escaped(key: Any, shown: str) -> None:
    plain = document()
    plain[key] = 1
    text = " ".join(f"{field}: {problem}" for field, problem in faults_of(plain).items())
    assert shown in text
    assert text.isascii()


def test_a_position_names_every_coordinate_that_is_wrong() -> None:
    with pytest.raises(InvalidPosition) as caught:
        Position(95.0, math.nan)
    assert [fault.field for fault in caught.value.faults] == ["latitude", "longitude"]
