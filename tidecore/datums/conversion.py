"""Levels above one datum told above another, where both are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.errors import DatumConflict, DatumUnknown, Fault, InvalidInput

#: A datum that nobody knows: carried and shown, and good for no conversion.
UNKNOWN = "unknown"
#: Two statements of one datum that differ by more [m] contradict each other.
SAME_LEVEL_M = 5e-4


@dataclass(frozen=True, slots=True)
class StatedLevel:
    """A datum as a source states it: ``name``, ``level`` [m above the station's datum], and the ``source``."""

    name: str
    level: float
    source: str

    def __post_init__(self) -> None:
        """Refuse a level without a name or a number."""
        faults = []
        if not self.name.strip() or self.name.strip().casefold() == UNKNOWN:
            faults.append(Fault("datum_levels.datum", f"is {self.name!r}", "the name of a datum that is known"))
        if not (np.isfinite(self.level) and abs(self.level) <= 1000.0):
            faults.append(Fault(f"datum_levels.{self.name}.level_m", f"is {self.level}", "metres, within 1000"))
        if not self.source.strip():
            faults.append(Fault(f"datum_levels.{self.name}.source", "is empty", "who states it"))
        if faults:
            raise InvalidInput(faults)


@dataclass(frozen=True, slots=True)
class KnownLevel:
    """A datum whose ``level`` [m above the station's datum] is known, and by whom or how (``source``)."""

    level: float
    source: str


def stated_levels(datum: str, stated: Sequence[StatedLevel]) -> dict[str, KnownLevel]:
    """Return the datums that are stated, the station's own among them at 0.

    Raises
    ------
    DatumConflict
        If two sources state one datum differently, or one states the station's own at another level than 0.
    InvalidInput
        If levels are stated above a datum that is unknown.
    """
    own = datum.strip()
    if own.casefold() == UNKNOWN:
        if stated:
            problem = "are stated above a datum that is unknown"
            raise InvalidInput(Fault("datum_levels", problem, "levels above a datum with a name, or none"))
        return {}
    known = {own: KnownLevel(0.0, "the station's datum")}
    for one in stated:
        there = known.setdefault(one.name, KnownLevel(one.level, one.source))
        if abs(there.level - one.level) > SAME_LEVEL_M:
            raise DatumConflict(one.name, (there.level, there.source), (one.level, one.source))
    return known


def datum_offset(known: Mapping[str, KnownLevel], to: str, start: str) -> float:
    """Return how far datum ``to`` lies above datum ``start`` [m]: heights above ``start`` less this are above ``to``.

    Parameters
    ----------
    known : mapping of datum to `KnownLevel`
        All above one datum.

    Raises
    ------
    DatumUnknown
        If either is not known; "unknown" never is. Chart datum is known only where a source states it: it is chosen,
        not computed.
    """
    for name in (start, to):
        if name.casefold() == UNKNOWN or name not in known:
            raise DatumUnknown(name, tuple(known))
    return known[to].level - known[start].level
