"""The parts of windows that stays at a mark fish; the windows are accounted for in one go, whole or in brief."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Generic, NamedTuple, TypeVar

import numpy as np

from tidecore.windows.curves import RuleCurve
from tidecore.windows.found import Found, tell
from tidecore.windows.outings import OutingLeg
from tidecore.windows.window import BriefWindow, Window

W = TypeVar("W", Window, BriefWindow)


class FishedPart(NamedTuple, Generic[W]):
    """A part of a window that a leg fishes, and its highest score [microseconds since 1970]; as in `SessionWindow`."""

    rule: str
    span_us: tuple[int, int]
    peak_score: float
    peak_us: int
    window: W


def account_for(asked: Iterable[tuple[Sequence[RuleCurve], Sequence[OutingLeg]]], *, briefly: bool = False) -> None:
    """Account for the windows that legs at some marks fish, in one go."""
    every = [(one.found, numbers) for curves, legs in asked for one in curves for _, numbers in _fished(one, legs)]
    tell(every, briefly=briefly)


def parts_fished(
    curves: Sequence[RuleCurve], legs: Sequence[OutingLeg], told: Callable[[Found, range], Sequence[W]]
) -> list[list[FishedPart[W]]]:
    """Return the parts of windows that each leg fishes, in time order; windows as they are ``told``."""
    found: list[list[FishedPart[W]]] = [[] for _ in legs]
    for one in curves:
        for k, numbers in _fished(one, legs):
            found[k] += _parts(one, numbers, legs[k], told(one.found, numbers))
    for parts in found:
        parts.sort(key=lambda part: (part.span_us, part.rule))
    return found


def _fished(one: RuleCurve, legs: Sequence[OutingLeg]) -> list[tuple[int, range]]:
    """Return which legs fish windows of a rule, and their numbers: those of a rule are apart and in order."""
    spans = np.array([(leg.start_us, leg.end_us) for leg in legs], dtype=np.int64).reshape(-1, 2)
    firsts = np.searchsorted(one.windows_us[:, 1], spans[:, 0], side="right").tolist()
    lasts = np.searchsorted(one.windows_us[:, 0], spans[:, 1]).tolist()
    ends = enumerate(zip(firsts, lasts, strict=True))
    return [(k, one.numbers[first:last]) for k, (first, last) in ends if first < last]


def _parts(one: RuleCurve, numbers: range, leg: OutingLeg, windows: Sequence[W]) -> Iterator[FishedPart[W]]:
    """Yield the parts of windows that a leg fishes; each has the window's own peak where that lies in it."""
    rows = one.windows_us[numbers.start - one.numbers.start : numbers.stop - one.numbers.start].tolist()
    for (first, last), window in zip(rows, windows, strict=True):
        start, end = max(first, leg.start_us), min(last, leg.end_us)
        score, peak_us = window.peak_score, window.peak_us
        if not start <= peak_us <= end:
            score, peak_us = one.score.peak(start, end)
        yield FishedPart(one.key, (start, end), score, peak_us, window)
