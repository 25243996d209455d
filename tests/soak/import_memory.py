"""Imports of 10 thousand and of 1 million rows of marks and of trips: memory is the same, and every row is there."""

from __future__ import annotations

import tempfile
from pathlib import Path

from service.security import LOCAL_ACCOUNT
from tests.benchmarks.imports import peak
from tests.benchmarks.log_imports import OF_TRIPS, Log, trips
from tests.soak.parts import run_parts

KINDS = ("mark", "trip")
FEW, MANY = 10_000, 1_000_000
#: How much more a hundred times the rows may take.
MOST = 1.1
_LIMIT_S = 3600.0


def run(first: int = 1) -> bool:
    """Print the peaks of memory of each kind; return whether all were done. Memory that grows with the rows raises."""
    return run_parts("import_memory", len(KINDS), first, _LIMIT_S, _measure)


def _measure(part: int) -> tuple[str, int]:
    kind = KINDS[part - 1]
    with tempfile.TemporaryDirectory() as folder:
        log = Log(Path(folder))
        found = {}
        # So many processes that rows are checked by others too, on any machine.
        for start, count in ((0, FEW), (FEW, MANY)):
            task = log.prepare(count, start) if kind == "mark" else log.queue("trip", OF_TRIPS, trips(count, start))
            found[count] = peak(task, judges=2)
        with log.house.store.unit(LOCAL_ACCOUNT) as unit:
            kept = unit.marks.count() - 1 if kind == "mark" else unit.trips.count()
        log.house.close()
    assert kept == FEW + MANY, kept
    (own, _), (own_many, others_many) = found[FEW], found[MANY]
    told = f"{kind}s: {FEW} rows {own:.0f} MB, {MANY} rows {own_many:.0f} MB; by those that check {others_many:.0f} MB"
    assert own_many <= MOST * own, told
    return told, 1
