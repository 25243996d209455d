"""Plans of pegs held against scans of every second, over random grounds with bars and sills, by the thousand."""

from __future__ import annotations

import numpy as np

from tests.soak.parts import run_parts
from tests.tidecore.shore.peg_scan import one_case

PARTS, CASES = 10, 2_000
LIMIT_S = 1800.0


def run(first: int = 1) -> bool:
    """Hold 20,000 plans against their scans; return whether all was done."""
    return run_parts("pegs", PARTS, first, LIMIT_S, _part)


def _part(part: int) -> tuple[str, int]:
    moves = sum(one_case(np.random.default_rng([part, seed])) for seed in range(CASES))
    return f"{CASES} plans with {moves} moves are those of their scans", CASES
