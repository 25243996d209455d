"""Where many pieces of one job are done: here, in a pool of processes, or on a cluster; the same results everywhere.

Pieces are plain functions at the top of a module and plain data; no more of them are made than are under way, so that
memory does not grow with their number.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from itertools import chain, islice
from typing import Any, Protocol, TypeVar

from service.garbage import collect_between_pieces, collecting_between_pieces, do_piece
from service.jobs.worker import end_with_parent

T = TypeVar("T")
R = TypeVar("R")

#: Pieces under way for each process: one that is done, and one that waits.
AHEAD = 2


class Spread(Protocol):
    """Does pieces of work; results come in whatever order they are done."""

    def run(self, work: Callable[[T], R], pieces: Iterator[T]) -> Iterator[R]:
        """Yield the results of ``work`` for each of ``pieces``."""


class Here:
    """Does one piece after the other in this process."""

    def run(self, work: Callable[[T], R], pieces: Iterator[T]) -> Iterator[R]:
        """Yield the results of ``work``."""
        with collecting_between_pieces():
            for piece in pieces:
                yield do_piece(work, piece)


class Pool:
    """Does pieces in processes of its own, spawned when there is a second piece; they die with this one."""

    def __init__(self, workers: int) -> None:
        """Use so many processes."""
        self._workers = workers

    def run(self, work: Callable[[T], R], pieces: Iterator[T]) -> Iterator[R]:
        """Yield the results of ``work``."""
        first = list(islice(pieces, 2))
        if len(first) < 2 or self._workers < 2:
            yield from Here().run(work, chain(first, pieces))
            return
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(self._workers, context, initializer=_begin, initargs=(work,)) as pool:
            ahead = AHEAD * self._workers
            yield from in_flight(lambda piece: pool.submit(do_piece, work, piece), chain(first, pieces), ahead)


def _begin(_work: Callable[[Any], Any]) -> None:
    """Make a process ready for pieces of some work, whose modules are imported by its being named here."""
    end_with_parent()
    collect_between_pieces()


def in_flight(submit: Callable[[T], Future[R]], pieces: Iterator[T], most: int) -> Iterator[R]:
    """Yield results as they are done, with so many pieces under way at ``most``."""
    under_way = {submit(piece) for piece in islice(pieces, most)}
    while under_way:
        done, under_way = wait(under_way, return_when=FIRST_COMPLETED)
        under_way |= {submit(piece) for piece in islice(pieces, len(done))}
        for one in done:
            yield one.result()


def processes_for(workers: int) -> int:
    """Return how many processes are meant by so many workers: with 0 one for each processor that this one may use."""
    return workers or len(os.sched_getaffinity(0))
