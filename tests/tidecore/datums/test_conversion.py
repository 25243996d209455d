from __future__ import annotations

import pickle

import pytest

from tidecore.datums import KnownLevel, StatedLevel, datum_offset, stated_levels
from tidecore.errors import DatumConflict, DatumUnknown, InvalidInput
from tidecore.model import TideModel

CHART = StatedLevel("chart datum", 0.42, "invented chart 7")
LINES = {"M2": (1.5, 140.0)}


def test_a_level_is_told_above_another_datum() -> None:
    known = stated_levels("gauge zero", [CHART, StatedLevel("land datum", 2.9, "levelling")])
    assert known["gauge zero"] == KnownLevel(0.0, "the station's datum")
    assert 5.0 - datum_offset(known, "chart datum", "gauge zero") == pytest.approx(4.58)
    assert 5.0 - datum_offset(known, "gauge zero", "chart datum") == pytest.approx(5.42)
    assert 5.0 - datum_offset(known, "land datum", "chart datum") == pytest.approx(2.52)
    assert datum_offset(known, "chart datum", "chart datum") == 0.0


@pytest.mark.parametrize("pair", [("unknown", "gauge zero"), ("gauge zero", "Unknown"), ("gauge zero", "chart datum")])
def test_what_nobody_states_is_refused(pair: tuple[str, str]) -> None:
    with pytest.raises(DatumUnknown, match="known: gauge zero") as caught:
        datum_offset(stated_levels("gauge zero", []), *pair)
    assert caught.value.known == ("gauge zero",)
    assert pickle.loads(pickle.dumps(caught.value)).name == caught.value.name


def test_two_statements_of_one_datum_must_agree() -> None:
    other = StatedLevel("chart datum", 0.45, "a plaque")
    with pytest.raises(DatumConflict, match=r"invented chart 7 states it at 0.42 m, a plaque at 0.45 m") as caught:
        stated_levels("gauge zero", [CHART, other])
    again = pickle.loads(pickle.dumps(caught.value))
    assert (again.name, again.other) == ("chart datum", (0.45, "a plaque"))
    assert stated_levels("gauge zero", [CHART, StatedLevel("chart datum", 0.4203, "rounded")])
    with pytest.raises(DatumConflict, match="the station's datum states it at 0 m"):
        stated_levels("gauge zero", [StatedLevel("gauge zero", 0.1, "x")])


def test_levels_above_an_unknown_datum_are_no_levels() -> None:
    assert stated_levels("unknown", []) == {}
    with pytest.raises(InvalidInput, match="unknown"):
        stated_levels("unknown", [CHART])


@pytest.mark.parametrize(
    ("name", "level", "source"),
    [("", 0.0, "x"), ("unknown", 0.0, "x"), ("MSL", float("nan"), "x"), ("MSL", 1.0, " ")]
    + [("MSL", level, "x") for level in (1000.1, -1000.1, float("inf"), -float("inf"))],
)
def test_a_statement_says_what_where_and_who(name: str, level: float, source: str) -> None:
    with pytest.raises(InvalidInput, match="datum_levels"):
        StatedLevel(name, level, source)


def test_a_model_keeps_what_is_stated_and_old_documents_state_nothing() -> None:
    given = {"latitude": 50.0, "convention": "utide", "datum": "gauge zero"}
    model = TideModel.from_constituents(LINES, **given, datum_levels=[CHART])  # type: ignore[arg-type]
    again = TideModel.from_document(model.to_document())
    assert again.datum_levels == (CHART,)
    assert again.stated_datums["chart datum"].level == 0.42
    bare = TideModel.from_constituents(LINES, **given)  # type: ignore[arg-type]
    assert "datum_levels" not in bare.to_document()
    assert TideModel.from_document(bare.to_document()).datum_levels == ()
    assert bare.input_hash != model.input_hash
    with pytest.raises(DatumConflict):
        TideModel.from_constituents(LINES, **given, datum_levels=[CHART, StatedLevel("chart datum", 1.0, "x")])  # type: ignore[arg-type]
