"""How benchmarks time: subject and peer in turn, fresh inputs each time, medians, ratios."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

import numpy as np

#: A subject or peer: given the number of the repetition it prepares fresh inputs and returns what is timed.
Prepared = Callable[[], object]
Preparation = Callable[[int], Prepared]


def seconds(run: Prepared) -> float:
    """Return how long one call takes [s]."""
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


@dataclass(slots=True)
class Report:
    """Collects named figures, prints them as they come, and writes them in the end."""

    figures: dict[str, float] = field(default_factory=dict)
    missed: list[str] = field(default_factory=list)

    def add(self, name: str, value: float, unit: str = "", wanted: str = "", met: bool = True) -> None:
        """Print and keep one figure; ``wanted`` says what it should be and ``met`` whether it is."""
        self.figures[name] = value
        if not met:
            self.missed.append(name)
        mark = "" if not wanted else f"   wanted {wanted}: {'met' if met else 'MISSED'}"
        print(f"  {name:<58} {value:>14.6g} {unit:<8}{mark}", flush=True)  # noqa: T201 - this is what it is for

    def heading(self, text: str) -> None:
        """Print a heading."""
        print(f"\n{text}", flush=True)  # noqa: T201 - this is what it is for

    def write(self, path: Path) -> None:
        """Write all figures as JSON, name -> value."""
        path.parent.mkdir(exist_ok=True)
        path.write_text(json.dumps(self.figures, indent=1, sort_keys=True) + "\n", encoding="utf-8")


def alternating(subject: Preparation, peer: Preparation, repetitions: int = 5, calls: int = 1) -> tuple[float, float]:
    """Return the median seconds of subject and peer, run in turn after one warm-up of each.

    A subject of a few milliseconds beside a peer of seconds is called ``calls`` times in its turn, each with inputs
    of its own: a single call would measure the caches that the peer left behind, a third of its time or more.
    """
    seconds(subject(-1))
    mine: list[float] = []
    theirs: list[float] = []
    for repetition in range(repetitions):
        mine.extend(seconds(subject(repetition * calls + call)) for call in range(calls))
        theirs.append(seconds(peer(repetition)))
    return median(mine), median(theirs)


def kernel() -> float:
    """Return the median seconds of the calibration kernel: a fixed mix of products, sines and gathers.

    Absolute times are printed beside it, so that they mean something on another machine.
    """
    rng = np.random.default_rng(0)
    left, right = rng.random((400, 400)), rng.random((400, 400))
    angles, places = rng.random(200_000), rng.integers(0, 200_000, 200_000)

    def work() -> object:
        return (left @ right).sum() + np.sin(angles)[places].sum()

    work()
    return median(seconds(work) for _ in range(21))
