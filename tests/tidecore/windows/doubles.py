"""A timeline whose factors are plain functions of time, so that windows can be worked out by hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np

from tests.tidecore.timeline.places import mark_at
from tidecore.rules import SpeciesRule
from tidecore.timebase import US_PER_HOUR, TimeGrid, TimeSpan
from tidecore.timeline import KeyTime, Timeline

START = np.datetime64("2026-03-20", "us")
START_US = int(START.astype(np.int64))
Array = np.ndarray[Any, Any]


def hour(hours: float) -> np.datetime64:
    """The instant so many hours after the start."""
    return START + np.timedelta64(round(hours * US_PER_HOUR), "us")


class HandTimeline:
    """``functions`` take hours since the start and return the values of a factor; ``breaks`` are hours."""

    def __init__(
        self,
        functions: Mapping[str, Callable[[Array], Array]],
        hours: tuple[float, float] = (0.0, 24.0),
        breaks: Sequence[float] = (),
        flow_reliable: bool = True,
        step: str = "10min",
    ) -> None:
        self.functions = functions
        self.mark = mark_at()
        self.span = TimeSpan(hour(hours[0]), hour(hours[1]))
        self.grid = TimeGrid.anchored(self.span.start, self.span.end, step)
        self.times = self.grid.times()
        self.names = tuple(functions)
        self.flow_reliable = flow_reliable
        self.sources = SimpleNamespace(mark=self.mark, span=self.span, conditions=None)
        self.breaks = breaks
        self.columns = self.at(self.grid.times_us())

    def at(self, times: Array, names: Sequence[str] | None = None) -> dict[str, Array]:
        hours = (np.rint(times) - START_US) / US_PER_HOUR
        return {name: self.functions[name](hours) for name in (self.names if names is None else names)}

    def breaks_us(self, names: Sequence[str]) -> Array:
        return START_US + np.rint(np.array(self.breaks, dtype=np.float64) * US_PER_HOUR).astype(np.int64)

    def events(self) -> tuple[KeyTime, ...]:
        return (KeyTime(hour(2.0), "low_water", 0.5), KeyTime(hour(8.0), "high_water", 4.5))


def timeline(functions: Mapping[str, Callable[[Array], Array]], **options: Any) -> Timeline:
    double: Any = HandTimeline(functions, **options)
    return double


def rule(**parts: Any) -> SpeciesRule:
    """A rule of the given parts; terms as (factor, shape, extras)."""
    plain: dict[str, Any] = {"name": "invented", "species": {"scientific_name": "Piscis inventus"}}
    for key in ("require", "prefer"):
        plain[key] = [{"factor": factor, "shape": shape, **extras} for factor, shape, extras in parts.pop(key, [])]
    return SpeciesRule.parse(plain | parts)


def trapezoid(*corners: float | None) -> dict[str, Any]:
    names = ("from", "full_from", "full_to", "to")
    return {"kind": "trapezoid", **dict(zip(names, corners, strict=True))}


def one_of(*values: str | bool) -> dict[str, Any]:
    return {"kind": "set", "values": list(values)}
