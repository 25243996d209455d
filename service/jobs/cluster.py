"""Pieces of a job on a Dask cluster, the only module that imports dask; and whether they are done there or here."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, TypeVar

from service.errors import ClusterUnreachable
from service.jobs.spreading import AHEAD, Here, Pool, Spread, in_flight, processes_for

T = TypeVar("T")
R = TypeVar("R")

#: Longest wait for the scheduler [s].
PATIENCE_S = 10.0


class Cluster:
    """Does pieces on the workers of a scheduler, which need this very code installed."""

    def __init__(self, address: str, patience_s: float = PATIENCE_S) -> None:
        """Name the scheduler, as ``tcp://scheduler:8786``; nothing is connected yet."""
        self._address, self._patience_s = address, patience_s

    def run(self, work: Callable[[T], R], pieces: Iterator[T]) -> Iterator[R]:
        """Yield the results of ``work`` as they are done.

        Raises
        ------
        ClusterUnreachable
            If dask is not installed, the scheduler does not answer, or has no worker.
        """
        try:
            import distributed
        except ImportError as error:
            raise ClusterUnreachable(self._address, "dask is not installed here (the extra dask)") from error
        dask: Any = distributed
        try:
            client = dask.Client(self._address, timeout=self._patience_s, set_as_default=False)
        except (OSError, ValueError) as error:
            raise ClusterUnreachable(self._address, "nobody answers there") from error
        with client:
            threads = sum(client.nthreads().values())
            if not threads:
                raise ClusterUnreachable(self._address, "it has no workers")
            # Not pure: a result must not be taken for that of an earlier piece of the same name.
            with client.get_executor(pure=False) as executor:
                yield from in_flight(lambda piece: executor.submit(work, piece), pieces, AHEAD * threads)


def open_spread(workers: int, dask_scheduler: str | None) -> Spread:
    """Return where pieces are done: on the cluster of a scheduler where one is named, else in `processes_for`."""
    if dask_scheduler:
        return Cluster(dask_scheduler)
    count = processes_for(workers)
    return Here() if count == 1 else Pool(count)
