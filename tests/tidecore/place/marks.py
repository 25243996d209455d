"""Invented marks for the tests of places."""

from __future__ import annotations

from typing import Any

import pytest

from tidecore.errors import InvalidInput
from tidecore.place import Mark

PROFILE: list[dict[str, Any]] = [
    {"distance_m": 0, "level_m": 6.5, "bed": "shingle", "snag": 0},
    {"distance_m": 30, "level_m": 2.5, "bed": "shingle_to_sand"},
    {"distance_m": 90.5, "level_m": 0.4, "bed": "clean_sand", "snag": 1},
    {"distance_m": 300, "level_m": -2},
]
GROUND = {
    "facing_degree": 215,
    "exposure": {"from_degree": 160, "to_degree": 290},
    "conditions_area": "Invented Bay",
    "ground_datum": {"name": "post zero", "above_datum_m": 0.35, "uncertainty_m": 0.1, "source": "levelled, invented"},
    "profile": PROFILE,
    "peg": {"distance_m": 12},
    "ledge_height_m": 4.5,
    "cliff": ["foot", "top"],
    "species": [
        {"scientific_name": "Piscis inventus", "fao_code": "PIN", "override": {"require": [], "note": "here"}},
        {"scientific_name": "Piscis alter"},
    ],
    "access": [
        {"kind": "gate", "state": "open", "hours": {"from": "05:00", "to": "23:30"}, "source": "board, invented"},
        {"kind": "bathing", "state": "closed", "season": {"from": "05-01", "to": "09-30"},
         "hours": {"from": "10:00", "to": "18:00"}},
        {"kind": "gale_closure", "state": "closed", "wind_over_m_per_s": 15, "wave_height_over_m": 2.5},
        {"kind": "booked_match", "state": "closed", "dates": [{"from": "2026-10-03", "to": "2026-10-04"}]},
    ],
    "regulation_areas": ["Invented district", "Invented bay byelaws"],
    "facilities": ["toilets", "lamp at the steps"],
    "phone_signal": "patchy",
    "way_back": [
        {"name": "gully", "lowest_sill_m": 1.8, "bed": "rough_rock_and_kelp", "length_m": 60, "minutes": 4,
         "surveyed": "2026-05-17"},
        {"name": "path", "lowest_sill_m": 5, "bed": "structure", "length_m": 200},
    ],
}  # fmt: skip


def document(**changes: Any) -> dict[str, Any]:
    """A mark with everything that can be known of one."""
    plain = {
        "name": "Long Ledge",
        "latitude": 50.25,
        "longitude": -30.5,
        "time_zone": "WET",
        "station": "invented-1",
        "kind": "rock_ledge",
        **GROUND,
    }
    return {**plain, **changes}


def faults_of(**changes: Any) -> dict[str, str]:
    """What is wrong with a mark that says this too, by the path of each fault."""
    with pytest.raises(InvalidInput) as caught:
        Mark.parse(document(**changes))
    return {fault.field: f"{fault.problem}; {fault.expected}" for fault in caught.value.faults}
