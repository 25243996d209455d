"""Pieces of work done a few ahead of whoever takes the results, in order, by processes that only compute.

For one process that must take results one after the other, as one that writes them: others work on what comes next.
"""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from itertools import islice
from typing import Any, Generic, Self, TypeVar

from service.jobs.spreading import AHEAD
from service.jobs.worker import end_with_parent
from service.logs import get_log

T = TypeVar("T")
R = TypeVar("R")

log = get_log("jobs")

#: Pieces that are not given to the processes, for this one to do while it waits for them.
_KEPT_BACK = 3


@dataclass(slots=True)
class _Waiting(Generic[T, R]):
    """A piece, where it is under way if in another process, and its result if it was done here before its turn."""

    piece: T
    sent: Future[R] | None = None
    found: Sequence[R] = ()


class Ahead:
    """Does pieces in processes of its own, which die with this one, and here until these are there or where they fail.

    A piece that fails there is done once more here: so what is wrong with it is said here, and what is wrong with the
    processes does no harm but to their speed.
    """

    def __init__(self, workers: int, get_ready: Callable[[], None]) -> None:
        """Start so many processes besides this one; ``get_ready`` is called in each first."""
        self._most = AHEAD * workers
        self._pool: ProcessPoolExecutor | None = None
        self._begun: list[Future[Any]] = []
        if workers < 1:
            return
        context = multiprocessing.get_context("spawn")
        try:
            self._pool = ProcessPoolExecutor(workers, context, initializer=_begin, initargs=(get_ready,))
            self._begun = [self._pool.submit(_nothing) for _ in range(workers)]
        except OSError as error:
            self._give_up(error)

    def __enter__(self) -> Self:
        """Return it."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the processes once they are done with what they are at."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def run(self, work: Callable[[T], R], pieces: Iterator[T], here: Callable[[T], R]) -> Iterator[tuple[T, R]]:
        """Yield pieces with their results, in order: of ``work`` in a process, or of ``here`` in this one."""
        waiting: deque[_Waiting[T, R]] = deque()
        while True:
            waiting.extend(map(_Waiting, islice(pieces, self._room(len(waiting)))))
            if not waiting:
                return
            self._send(work, waiting)
            first = waiting[0]
            while first.sent is not None and not first.sent.done() and self._do_another(waiting, here):
                self._send(work, waiting)
            waiting.popleft()
            yield first.piece, self._result(first, here)

    @property
    def _ready(self) -> bool:
        return self._pool is not None and any(one.done() for one in self._begun)

    def _room(self, waiting: int) -> int:
        """Return how many pieces may be taken: one where it is done here."""
        return max(0, (self._most + _KEPT_BACK if self._ready else 1) - waiting)

    def _send(self, work: Callable[[T], R], waiting: deque[_Waiting[T, R]]) -> None:
        """Give the processes as much as they need to be at work, and no more: what is given cannot be taken back."""
        under_way = sum(one.sent is not None and not one.sent.done() for one in waiting)
        for one in waiting:
            if self._pool is None or not self._ready or under_way >= self._most:
                return
            if one.sent is None and not one.found:
                try:
                    one.sent = self._pool.submit(work, one.piece)
                except (OSError, BrokenExecutor) as error:
                    self._give_up(error)
                    return
                under_way += 1

    def _do_another(self, waiting: deque[_Waiting[T, R]], here: Callable[[T], R]) -> bool:
        """Do the last piece here that no process has been given; False where there is none."""
        other = next((one for one in reversed(waiting) if one.sent is None and not one.found), None)
        if other is None:
            return False
        try:
            other.found = [here(other.piece)]
        except Exception as error:
            # It is done again in its turn, and said then: what comes before it is still to be taken.
            log.warning("done_again_in_turn", reason=type(error).__name__)
            return False
        return True

    def _result(self, one: _Waiting[T, R], here: Callable[[T], R]) -> R:
        if one.found:
            return one.found[0]
        if one.sent is None:
            return here(one.piece)
        try:
            return one.sent.result()
        except Exception as error:
            log.warning("done_again_here", reason=type(error).__name__)
            if isinstance(error, BrokenExecutor):
                # A process died, or could not be started: the others are ended too.
                self._give_up(error)
            return here(one.piece)

    def _give_up(self, error: Exception) -> None:
        if self._pool is not None:
            log.warning("no_processes_ahead", reason=type(error).__name__)
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None


def _begin(get_ready: Callable[[], None]) -> None:
    end_with_parent()
    get_ready()


def _nothing() -> None:
    """Show that a process is there."""
