"""What a factor is: one quantity over time at a mark, with its unit, its meaning and where it comes from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from tidecore.units import AnyArray, BoolArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.frames import Frames
    from tidecore.timeline.sources import Sources

FactorKind = Literal["number", "category", "boolean"]
FactorGroup = Literal["tide", "sky", "season", "sea_and_air", "shore", "person"]

#: Of the sources of a mark: the instants at which a factor breaks.
Breaks = Callable[["Sources"], IntArray]

#: Of the sources of a mark: something in words.
Words = Callable[["Sources"], str]

#: Of the sources of a mark: the one object that the values hang on, None where it is not there.
RestsAlone = Callable[["Sources"], object | None]

#: How a boolean column says unknown; its other values are 0 and 1.
UNKNOWN_BOOLEAN = -1


@dataclass(frozen=True, slots=True)
class Factor:
    """One entry of the factor registry.

    Parameters
    ----------
    name : str
        Name of the column, in snake_case, without its unit.
    group : str
        ``"tide"``, ``"sky"``, ``"season"``, ``"sea_and_air"``, ``"shore"`` or ``"person"``.
    unit : str
        Unit of a number (``"1"`` if it has no dimension); empty for the other kinds.
    kind : str
        ``"number"``: float64, NaN where unknown. ``"category"``: text, empty where unknown. ``"boolean"``: int8, 1
        true, 0 false, -1 unknown.
    meaning : str
        Definition, in a sentence.
    provenance : str
        Where the values come from.
    compute : callable or None
        Values at the instants of a `Frame`; None for a factor that only a caller can give.
    breaks : callable or None
        Of the sources of a mark: every instant from which the factor has jumped or turned a corner [microseconds
        since 1970], in any order. None for a factor that is smooth, or whose jumps lie hours apart and come from no
        peak.
    categories : tuple of str
        The values of a category.
    period : float or None
        Where the scale of a number closes on itself, the length of its round, in its unit.
    of_the_stream : bool
        Whether it tells what the stream does, which is a proxy at a mark without slack lags.
    rests_on : callable or None
        Of the sources of a mark: where the values of its timeline come from; `provenance` unless given.
    why_unknown : callable or None
        Of the sources of a mark: why the factor is unknown for a part of the span, or all of it.
    hangs_on : callable or None
        Of the sources of a mark: the tables, conditions, sea, its waters or time zone that alone make values and
        breaks, so that marks which share it share them; None for a factor that hangs on the mark, or on several of
        these.
    together : callable or None
        What ``compute`` gives at some instants at each of several marks, worked out in one go.
    """

    name: str
    group: FactorGroup
    unit: str
    kind: FactorKind
    meaning: str
    provenance: str
    compute: Callable[[Frame], AnyArray] | None = None
    breaks: Breaks | None = None
    categories: tuple[str, ...] = ()
    period: float | None = None
    of_the_stream: bool = False
    rests_on: Words | None = None
    why_unknown: Words | None = None
    hangs_on: RestsAlone | None = None
    together: Callable[[Frames], AnyArray] | None = None

    def unknown(self, count: int) -> AnyArray:
        """Return a column of ``count`` unknown values of this kind."""
        if self.kind == "number":
            return np.full(count, np.nan)
        if self.kind == "boolean":
            return np.full(count, UNKNOWN_BOOLEAN, dtype=np.int8)
        return np.zeros(count, dtype=np.dtypes.StrDType(max(1, *map(len, self.categories))))

    def known(self, values: AnyArray) -> BoolArray:
        """Return where the ``values`` of a column of this factor are known."""
        if self.kind == "number":
            return ~np.isnan(values)
        if self.kind == "boolean":
            return np.asarray(values != UNKNOWN_BOOLEAN)
        return np.asarray(values != "")


def pick(categories: tuple[str, ...], codes: IntArray) -> AnyArray:
    """Return the category of every code; code -1 is unknown, the empty text."""
    return _texts(categories)[codes]


@lru_cache(maxsize=256)
def _texts(categories: tuple[str, ...]) -> AnyArray:
    found = np.array((*categories, ""))
    found.flags.writeable = False
    return found


def midway(events_us: IntArray) -> IntArray:
    """Return, for neighbouring events, the first instant that is nearer to the later one; a tie is the earlier's."""
    return (events_us[:-1] + events_us[1:]) // 2 + 1
