"""Random filters held against a second evaluator, and inputs that are no filters, by the thousand."""

from __future__ import annotations

import json
import subprocess
import sys

from tests.soak.parts import run_parts
from tests.tidecore.filters.agreement import disagreements

PARTS = 10
FILTERS, INPUTS = 1_000, 20_000
LIMIT_S = 1800.0
MOST_MS = 50.0


def run(first: int = 1) -> bool:
    """Hold 10,000 filters against the second evaluator and try 200,000 inputs; return whether all was done."""
    return run_parts("filters", PARTS, first, LIMIT_S, _part)


def _part(part: int) -> tuple[str, int]:
    found, worths = disagreements(seed=1000 + part, count=FILTERS)
    if found:
        raise AssertionError(f"{len(found)} filters disagree, the first is {found[0]}")
    command = [sys.executable, "-m", "tests.tidecore.filters.fuzz", str(1000 + part), str(INPUTS)]
    said = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    if said["worst_ms"] > MOST_MS:
        raise AssertionError(f"{said['slowest']} took {said['worst_ms']:.1f} ms")
    return (
        f"{FILTERS} filters agree ({worths}), the worst of {INPUTS} inputs took {said['worst_ms']:.1f} ms",
        INPUTS + FILTERS,
    )
