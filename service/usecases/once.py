"""Requests that are sent again: what was answered under an Idempotency-Key is answered again, and done once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import TypeVar

from service.errors import KeyReused, KeyRunning, ServiceError
from service.security import Caller
from service.storage.records import KeptAnswer
from service.storage.unit import UnitOfWork
from service.usecases.context import Context

T = TypeVar("T")

#: How long an answer is kept.
KEPT = timedelta(days=7)

#: Called by a use case inside its unit of work with what it made, just before it commits.
Keep = Callable[[UnitOfWork, T], None]


def keep_nothing(_unit: UnitOfWork, _made: object) -> None:
    """Keep nothing: for whoever does not send requests again."""


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer as it goes out."""

    status: int
    headers: Mapping[str, str]
    content: bytes


@dataclass(frozen=True, slots=True)
class Once:
    """The key of a request, None where it has none, and the ``fingerprint`` of all that it asks."""

    key: str | None
    fingerprint: str

    def run(
        self, context: Context, caller: Caller, make: Callable[[Keep[T]], T], write: Callable[[T], Answered]
    ) -> Answered:
        """Return the answer to what ``make`` makes, or the one given before; what is refused may be tried again.

        The answer is kept in the unit of work that does the work: there is never one without the other.

        Raises
        ------
        KeyReused
            If the key came with another request.
        KeyRunning
            If this process is still answering a request with the key.
        """
        if self.key is None:
            return write(make(keep_nothing))
        key = self.key
        found = self._earlier(context, caller)
        if found is not None:
            return found
        answers: list[Answered] = []

        def keep(unit: UnitOfWork, made: T) -> None:
            answers.append(write(made))
            kept = KeptAnswer(self.fingerprint, answers[-1].status, answers[-1].headers, answers[-1].content)
            now = context.clock()
            unit.answers.keep(key, kept, now, now - KEPT)

        with _running(context, caller, key):
            try:
                make(keep)
            except ServiceError:
                # Another process may have done the very same since we looked: its answer is ours.
                found = self._earlier(context, caller)
                if found is None:
                    raise
                return found
        return answers[-1]

    def _earlier(self, context: Context, caller: Caller) -> Answered | None:
        with context.store.unit(caller.account_id) as unit:
            kept = unit.answers.find(self.key or "", context.clock() - KEPT)
        if kept is None:
            return None
        if kept.fingerprint != self.fingerprint:
            raise KeyReused
        return Answered(kept.status, kept.headers, kept.content)


@contextmanager
def _running(context: Context, caller: Caller, key: str) -> Iterator[None]:
    held = (caller.account_id, key)
    if not context.running.take(held):
        raise KeyRunning
    try:
        yield
    finally:
        context.running.give_back(held)
