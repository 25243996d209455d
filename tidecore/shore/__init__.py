"""The ground of a mark and the water on it: pure numbers on arrays.

`Ground` is a profile: waterline, what the water cuts off, slopes. `run_up` and `dry_margin` say how far waves reach on
it, `way_back` and `turn_back` when to leave, `moves` when to go with the edge of the water, `peg_plan`
where to stand and when to move so that the peg stays dry, `fishable` whether lead, surf, weed and wind allow fishing.
Levels are above the zero of the ground throughout.
"""

from tidecore.shore.dryness import DryMargin, dry_margin
from tidecore.shore.edge import Move, edge_speed, moves
from tidecore.shore.fishability import Fishable, fishable
from tidecore.shore.ground import Ground, plane_ground
from tidecore.shore.pegging import PegMove, Pegs, peg_plan
from tidecore.shore.swash import RunUp, poate, run_up, stockdon
from tidecore.shore.turning_back import TurnBack, WayBack, covered_spans, minutes_to_turn_back, turn_back, way_back
from tidecore.shore.waves import Waves, largest_over_r2

__all__ = [
    "DryMargin",
    "Fishable",
    "Ground",
    "Move",
    "PegMove",
    "Pegs",
    "RunUp",
    "TurnBack",
    "Waves",
    "WayBack",
    "covered_spans",
    "dry_margin",
    "edge_speed",
    "fishable",
    "largest_over_r2",
    "minutes_to_turn_back",
    "moves",
    "peg_plan",
    "plane_ground",
    "poate",
    "run_up",
    "stockdon",
    "turn_back",
    "way_back",
]
