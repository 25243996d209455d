from __future__ import annotations

import pytest

from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.rules import SpeciesRule
from tidecore.timeline import build_timeline
from tidecore.windows import explain, find_windows

MODEL = TideModel.from_constituents({"M2": (2.0, 100.0), "S2": (0.6, 150.0)}, latitude=50.0, convention="utide")


def rule(*beds: str) -> SpeciesRule:
    return SpeciesRule.parse(
        {
            "name": "Invented rule",
            "species": {"scientific_name": "Piscis inventus"},
            "require": [
                {
                    "factor": "hours_from_lw",
                    "shape": {"kind": "trapezoid", "from": -1, "full_from": 0, "full_to": 2, "to": 3},
                }
            ],
            "beds": list(beds),
        }
    )


def mark(*beds: str) -> Mark:
    return Mark.parse(
        {
            "name": "Invented mark",
            "latitude": 50.0,
            "longitude": -30.0,
            "time_zone": "Etc/UTC",
            "station": "invented",
            "kind": "open_beach",
            "beds": list(beds),
        }
    )


@pytest.mark.parametrize(
    ("wanted", "there", "suits"),
    [
        ((), (), True),
        ((), ("mud",), True),
        (("clean_sand", "mud"), ("mud", "mussel"), True),
        (("clean_sand",), ("rough_rock_and_kelp",), False),
        (("clean_sand",), (), None),
    ],
)
def test_ground(wanted: tuple[str, ...], there: tuple[str, ...], suits: bool | None) -> None:
    assert rule(*wanted).accepts_ground(mark(*there)) is suits
    timeline = build_timeline(mark(*there), MODEL, "2026-05-01", "2026-05-03")
    found = find_windows(rule(*wanted), timeline)
    # Ground that nobody stated never hides a window; ground that is stated and wrong does.
    assert bool(found) is (suits is not False)
    said = " ".join(explain(rule(*wanted), timeline).sentences)
    assert ("The ground here is rough rock and kelp; the rule wants clean sand." in said) is (suits is False)
    assert ("Suitability unknown: no bed is stated" in said) is (suits is None)
