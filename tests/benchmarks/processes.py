"""What a run takes of the machine: processor time of this process and its children, memory of all of them together."""

from __future__ import annotations

import os
import resource
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path


def cpu_s() -> float:
    """Return the processor time of this process and of its children that have ended [s]."""
    used = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in used)


def memory_mib(pid: int | None = None) -> float:
    """Return the memory of a process and all its descendants, pages that they share counted once [MiB]."""
    root = Path("/proc") / str(os.getpid() if pid is None else pid)
    try:
        rows = dict(line.split(":", 1) for line in (root / "smaps_rollup").read_text().splitlines()[1:])
        own = int(rows["Pss"].split()[0]) / 1024
        children = [one for task in (root / "task").iterdir() for one in (task / "children").read_text().split()]
    except (FileNotFoundError, ProcessLookupError):
        # It has ended meanwhile.
        return 0.0
    return own + sum(memory_mib(int(one)) for one in children)


@dataclass(slots=True)
class Peak:
    """The most memory that was seen [MiB]."""

    mib: float = 0.0


@contextmanager
def watched(every_s: float = 0.5) -> Iterator[Peak]:
    """Look at the memory of this process and its descendants all the while."""
    peak, done = Peak(), threading.Event()

    def look() -> None:
        while not done.wait(every_s):
            peak.mib = max(peak.mib, memory_mib())

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    try:
        yield peak
    finally:
        done.set()
        thread.join()
        peak.mib = max(peak.mib, memory_mib())
