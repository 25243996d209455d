"""30 kills of a private PostgreSQL cluster under a service that goes on: process crashes, not power losses."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.faults.killing import ServedFromCluster, run_kills
from tests.postgres import stores
from tests.postgres.cluster import private_cluster
from tests.soak.parts import run_parts

PARTS, KILLS = 3, 10
_LIMIT_S = 1800.0


def run(first: int = 1) -> bool:
    """Print what each part came to; return whether all were done. A record lost, doubled or halved raises."""
    return run_parts("cluster_kills", PARTS, first, _LIMIT_S, _kill)


def _kill(part: int) -> tuple[str, int]:
    with private_cluster() as cluster, stores.elsewhere(cluster.url), tempfile.TemporaryDirectory() as folder:
        target = ServedFromCluster(Path(folder), cluster)
        return str(run_kills(Path(folder), KILLS, seed=part, target=target)), KILLS
