"""How long a bait lasts in the sea, and how many to take: common practice, no source."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from tidecore.errors import Fault, InvalidInput
from tidecore.place import Bed
from tidecore.rules.method import Bait, BaitKind

#: Where crabs strip baits; common practice.
CRAB_BEDS: frozenset[Bed] = frozenset(
    {"broken_or_mixed", "rough_rock_and_kelp", "mussel", "eelgrass", "structure"},
)
#: A sea is cold up to the first and warm over the second [degC]; between them it may be either.
COLD_C, WARM_C = 10.0, 12.0
#: Life of a bait in a warm sea on crab ground, from and to [min].
WARM_LIFE_MIN: dict[BaitKind, tuple[float, float]] = {"worm": (5.0, 15.0), "squid": (15.0, 25.0), "fish": (15.0, 25.0)}
#: Of baits that no number is known of: as that of worm to that of fish.
_OTHER_LIFE_MIN = (5.0, 25.0)
#: Life of any bait in a cold sea [min].
COLD_LIFE_MIN = (20.0, 30.0)
#: Changes that the amounts below are for: 4 h and one rod at 15 min.
_BAG_CHANGES = 16
#: Amount of a bait for so many changes, from and to, and what is counted.
_BAG: dict[BaitKind, tuple[float, float, str]] = {
    "worm": (20.0, 30.0, "lugworm"),
    "crab": (8.0, 12.0, "peeler crab"),
    "squid": (6.0, 8.0, "squid"),
}

LifeBasis = Literal["warm_crab_ground", "cold", "between", "unknown_temperature", "unknown_ground", "artificial"]


@dataclass(frozen=True, slots=True)
class BaitLife:
    """How long a bait lasts: from and to [min], what the range rests on, and why in words; None of a lure."""

    from_min: float | None
    to_min: float | None
    basis: LifeBasis
    text: str

    @property
    def middle_min(self) -> float | None:
        """The middle of the range [min]."""
        return None if self.from_min is None or self.to_min is None else 0.5 * (self.from_min + self.to_min)


@dataclass(frozen=True, slots=True)
class BagItem:
    """A bait of the bag: rod-minutes it is in use, changes from and to, and the amount from and to.

    ``counted`` is what the amount counts. The amount is None where nobody said how many go on a change, and the bait
    is none that a number is known of. Of ``tips`` only the changes are known.
    """

    bait: str
    kind: BaitKind | None
    minutes: float
    changes: tuple[int, int] | None
    amount: tuple[int, int] | None
    counted: str
    text: str


def crab_ground(beds: Iterable[Bed]) -> bool | None:
    """Return whether crabs strip baits on the beds of a mark: True on one of `CRAB_BEDS`, else unknown."""
    return True if not CRAB_BEDS.isdisjoint(beds) else None


def bait_life(kind: BaitKind, sea_temperature_c: float | None, on_crab_ground: bool | None) -> BaitLife:
    """Return how long a bait lasts.

    Over 12 degC on crab ground 5 to 15 min of worm and 15 to 25 of squid or fish; up to 10 degC 20 to 30 min. What is
    not known, temperature or ground, leaves the whole range. Off crab ground in a warm sea no number is known either.

    Parameters
    ----------
    kind : str
        Kind of bait.
    sea_temperature_c : float or None
        Temperature of the sea [degC]; None (or NaN) where it is unknown.
    on_crab_ground : bool or None
        Whether there are crabs; None where that is unknown.
    """
    if kind == "lure":
        return BaitLife(None, None, "artificial", "a lure is not changed for its age")
    warm, cold = WARM_LIFE_MIN.get(kind, _OTHER_LIFE_MIN), COLD_LIFE_MIN
    whole = (min(warm[0], cold[0]), max(warm[1], cold[1]))
    if sea_temperature_c is None or math.isnan(sea_temperature_c):
        return BaitLife(*whole, "unknown_temperature", "temperature of the sea unknown: the whole range")
    if sea_temperature_c <= COLD_C:
        return BaitLife(*cold, "cold", f"sea of {sea_temperature_c:.1f} degC: cold")
    if on_crab_ground is not True:
        ground = "not known to be crab ground" if on_crab_ground is None else "no crab ground, for which none is known"
        return BaitLife(*whole, "unknown_ground", f"sea of {sea_temperature_c:.1f} degC, {ground}: the whole range")
    if sea_temperature_c <= WARM_C:
        return BaitLife(*whole, "between", f"sea of {sea_temperature_c:.1f} degC: neither cold nor warm")
    return BaitLife(*warm, "warm_crab_ground", f"sea of {sea_temperature_c:.1f} degC on crab ground")


def bait_changes(minutes: float, life_min: float, rods: int = 1) -> int:
    """Return how many baits ``rods`` rods use in so many minutes, the first one counted: 4 h at 15 min are 16.

    Raises
    ------
    InvalidInput
        If the minutes, the life or the rods are none.
    """
    faults = [
        Fault(name, f"is {value:g}", "a number above 0")
        for name, value in (("minutes", minutes), ("life_min", life_min), ("rods", rods))
        if not (math.isfinite(value) and value > 0.0)
    ]
    if faults:
        raise InvalidInput(faults)
    return rods * math.ceil(minutes / life_min - 1e-9)


def bag_item(bait: Bait, rod_minutes: Sequence[float], life: BaitLife) -> BagItem:
    """Return what of a bait to take for the minutes that each rod has it on.

    The amount is that of the bait's own ``per_change``, or in proportion to 20 to 30 lugworm, 8 to 12 peeler crab or 6
    to 8 squid for 16 changes; the least of it goes with the longest life, the most with the shortest.
    """
    minutes = sum(rod_minutes)
    if life.from_min is None or life.to_min is None:
        return BagItem(bait.name, bait.kind, minutes, None, None, bait.name, "a lure; take spares")
    few, many = (sum(bait_changes(one, age) for one in rod_minutes) for age in (life.to_min, life.from_min))
    if bait.per_change is not None:
        each, counted = (bait.per_change.from_, bait.per_change.to), bait.name
    elif bait.kind in _BAG:
        low, high, counted = _BAG[bait.kind]
        each = (low / _BAG_CHANGES, high / _BAG_CHANGES)
    else:
        text = f"{_told(few, many)} changes; how many of it go on one is not said"
        return BagItem(bait.name, bait.kind, minutes, (few, many), None, bait.name, text)
    amount = (math.ceil(few * each[0] - 1e-9), math.ceil(many * each[1] - 1e-9))
    text = f"{_told(few, many)} changes: {_told(*amount)} {counted}"
    return BagItem(bait.name, bait.kind, minutes, (few, many), amount, counted, text)


def tip_item(name: str, minutes: float, changes: tuple[int, int] | None) -> BagItem:
    """Return what a bait is tipped with: for so many changes, its amount unknown."""
    text = "how many is not known" if changes is None else f"for {_told(*changes)} changes; how many of it is not said"
    return BagItem(name, None, minutes, changes, None, name, text)


def _told(low: int, high: int) -> str:
    return f"{low}" if low == high else f"{low} to {high}"
