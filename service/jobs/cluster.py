"""Pieces of a job on a Dask cluster; the only module that imports dask."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any, TypeVar

from service.errors import ClusterUnreachable

T = TypeVar("T")
R = TypeVar("R")

#: Pieces under way for each thread of the cluster.
_AHEAD = 2
#: Longest wait for the scheduler [s].
_PATIENCE_S = 10.0


class Cluster:
    """Does pieces on the workers of a scheduler, which need this very code installed."""

    def __init__(self, address: str) -> None:
        """Name the scheduler, as ``tcp://scheduler:8786``; nothing is connected yet."""
        self._address = address

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
        cluster: Any = distributed
        try:
            client = cluster.Client(self._address, timeout=_PATIENCE_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise ClusterUnreachable(self._address, "nobody answers there") from error
        with client:
            threads = sum(client.nthreads().values())
            if not threads:
                raise ClusterUnreachable(self._address, "it has no workers")
            # Pure or not, a piece is not the one before it: a result must not be taken for another's by its name.
            submitted = cluster.as_completed(
                [client.submit(work, piece, pure=False) for piece in islice(pieces, _AHEAD * threads)]
            )
            for done in submitted:
                for piece in islice(pieces, 1):
                    submitted.add(client.submit(work, piece, pure=False))
                yield done.result()
