"""Whether anything in the store has changed since one last looked, without a query."""

from __future__ import annotations

import sqlite3
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from threading import Lock
from typing import Generic, TypeVar

from sqlalchemy import Engine

T = TypeVar("T")


class Remembered(Generic[T]):
    """What the store said to the latest questions, each with the pulse of the store before it was asked.

    Instead of the pulse there may be another number that is the same as long as the answer is.
    """

    def __init__(self, most: int, weigh: Callable[[T], int] = lambda _: 1) -> None:
        """Keep answers that weigh ``most`` together, by what ``weigh`` says of each: those used last."""
        self._most, self._weigh = most, weigh
        self._weight = 0
        self._lock = Lock()
        self._kept: OrderedDict[Hashable, tuple[int, T]] = OrderedDict()

    def find(self, question: Hashable, pulse: int) -> T | None:
        """Return what was said to a question, if that was at this pulse."""
        with self._lock:
            found = self._kept.get(question)
            if found is None or found[0] != pulse:
                return None
            self._kept.move_to_end(question)
        return found[1]

    def keep(self, question: Hashable, pulse: int, said: T) -> None:
        """Keep what was said to a question at a pulse."""
        with self._lock:
            before = self._kept.pop(question, None)
            if before is not None:
                self._weight -= self._weigh(before[1])
            self._kept[question] = (pulse, said)
            self._weight += self._weigh(said)
            while self._weight > self._most:
                _, (_, oldest) = self._kept.popitem(last=False)
                self._weight -= self._weigh(oldest)


class Pulse:
    """A number that changes with every commit of anybody to an SQLite store; other databases have none.

    SQLite counts the commits of other connections for each connection. This one only ever looks, so that to it all
    are others.
    """

    def __init__(self, engine: Engine) -> None:
        """Look at the database of ``engine``; nothing is opened before it is first asked."""
        self._path = engine.url.database if engine.url.get_backend_name() == "sqlite" else None
        self._lock = Lock()
        self._connection: sqlite3.Connection | None = None

    def read(self) -> int | None:
        """Return the number, None where it cannot be told just now; never waits for a lock of the store."""
        if self._path is None:
            return None
        with self._lock:
            try:
                if self._connection is None:
                    address = f"{Path(self._path).resolve().as_uri()}?mode=ro"
                    self._connection = sqlite3.connect(address, timeout=0.0, uri=True, check_same_thread=False)
                found: int = self._connection.execute("PRAGMA data_version").fetchall()[0][0]
            except sqlite3.Error:
                # Locked, or not there yet: whoever asks has to look into the store itself, which says what is wrong.
                return None
        return found

    def close(self) -> None:
        """Close the connection."""
        with self._lock:
            if self._connection is not None:
                self._connection.close()
                self._connection = None
