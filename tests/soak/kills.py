"""100 kills of the server in the middle of single writes, 60 of imports, 40 of plans: crashes, not power losses."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.faults.killed_imports import run_import_kills
from tests.faults.killed_plans import run_plan_kills
from tests.faults.killing import run_kills
from tests.soak.parts import run_parts

PARTS, KILLS, OF_IMPORTS, ROWS = 10, 10, 6, 10_000
OF_PLANS, MARKS = 4, 60
_LIMIT_S = 3600.0


def run(first: int = 1) -> bool:
    """Print what each part came to; return whether all were done. A record lost, doubled or halved raises."""
    return run_parts("kills", PARTS, first, _LIMIT_S, _kill)


def _kill(part: int) -> tuple[str, int]:
    with tempfile.TemporaryDirectory() as folder:
        writes, imports, plans = (Path(folder) / name for name in ("writes", "imports", "plans"))
        for one in (writes, imports, plans):
            one.mkdir()
        told = f"{run_kills(writes, KILLS, seed=part)}; {run_import_kills(imports, OF_IMPORTS, ROWS, seed=part)}; "
        told += str(run_plan_kills(plans, OF_PLANS, MARKS, seed=part, processes=2))
    return told, KILLS + OF_IMPORTS + OF_PLANS
