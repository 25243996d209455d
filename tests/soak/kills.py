"""100 kills of the server in the middle of writes: process crashes, not power losses."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.faults.killing import run_kills
from tests.soak.parts import run_parts

PARTS, KILLS = 10, 10
_LIMIT_S = 3600.0


def run(first: int = 1) -> bool:
    """Print what each part came to; return whether all were done. A record lost, doubled or halved raises."""
    return run_parts("kills", PARTS, first, _LIMIT_S, _kill)


def _kill(part: int) -> tuple[str, int]:
    with tempfile.TemporaryDirectory() as folder:
        return str(run_kills(Path(folder), KILLS, seed=part)), KILLS
