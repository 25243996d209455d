"""What every use case is given: the store, the runner, the clock, the settings and the decoded things."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from threading import Lock
from typing import Any, TypeVar

from service.jobs.runner import JobRunner
from service.settings import Settings
from service.storage.pulse import Remembered
from service.storage.unit import Store

T = TypeVar("T")


def utc_now() -> datetime:
    """Return the time; the only clock of the service."""
    return datetime.now(UTC)


#: Most decoded models, marks and rules kept; a model is some tens of kilobytes.
MOST_DECODED = 2000
#: Most searches whose marks and rules are remembered as found, accounts whose thresholds are, and tokens of feeds.
MOST_WANTED = 100
#: Most memory for years of logs in columns [bytes]; a year of a hundred trips takes some 30 KiB, and as much a factor.
MOST_OF_LOGS = 64 * 1024 * 1024


class Decoded:
    """Decoded models, marks and rules by kind, id and version; what a version says never changes."""

    def __init__(self, most: int = MOST_DECODED) -> None:
        """Keep at most ``most``, those used last."""
        self._most = most
        self._lock = Lock()
        self._kept: OrderedDict[Hashable, object] = OrderedDict()

    def find(self, kind: type[T], key: str, version: int) -> T | None:
        """Return what is kept under a kind, id and version."""
        with self._lock:
            found = self._kept.get((kind, key, version))
            if found is None:
                return None
            self._kept.move_to_end((kind, key, version))
        assert isinstance(found, kind)
        return found

    def keep(self, key: str, version: int, value: T) -> T:
        """Keep ``value`` under its kind, id and version, and return it."""
        with self._lock:
            self._kept[(type(value), key, version)] = value
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return value


class Running:
    """Which requests with an Idempotency-Key this process is answering."""

    def __init__(self) -> None:
        """Start with none."""
        self._lock = Lock()
        self._held: set[tuple[str, str]] = set()

    def take(self, held: tuple[str, str]) -> bool:
        """Note account and key as being answered; False where they are already."""
        with self._lock:
            if held in self._held:
                return False
            self._held.add(held)
            return True

    def give_back(self, held: tuple[str, str]) -> None:
        """Note account and key as answered."""
        with self._lock:
            self._held.discard(held)


@dataclass(frozen=True, slots=True)
class Context:
    """The surroundings of a use case."""

    store: Store
    runner: JobRunner
    clock: Callable[[], datetime]
    settings: Settings
    decoded: Decoded = field(default_factory=Decoded)
    #: Issues of conditions and warnings, and what they come to: many, and apart from models for that.
    told: Decoded = field(default_factory=Decoded)
    running: Running = field(default_factory=Running)
    wanted: Remembered[Any] = field(default_factory=lambda: Remembered(MOST_WANTED))
    #: Years of logs in columns, each with the version of the year.
    logs: Remembered[Any] = field(default_factory=lambda: Remembered(MOST_OF_LOGS, lambda one: one.size))
