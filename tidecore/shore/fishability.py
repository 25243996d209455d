"""Whether the water can be fished: does the lead hold, and do surf, weed and wind allow a cast.

The thresholds are common practice: defaults, never truth. This is not safety: a sea that can be fished may still be
one to stay away from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tidecore.units import AnyArray, BoolArray, FloatArray

#: A grip lead of 150 to 170 g holds up to the first speed of the stream at 80 to 100 m, little over the second [m/s].
HOLDS_M_PER_S, LITTLE_HOLDS_M_PER_S = 1.0, 1.3
#: A sea higher than this is unfishable for most [m].
UNFISHABLE_SEA_M = 2.0
#: Wind on the shore or across it over this cuts reach by a third [m/s].
REACH_WIND_M_PER_S = 10.0

HOLDING = ("holds", "marginal", "does_not_hold")
SURF = ("fishable", "unfishable")
#: Seen weed first, as it is noted, then what only a proxy says.
WEED = ("none", "odd_strand", "every_cast", "unfishable", "low", "likely", "high")
FISHABLE = ("yes", "hard", "no")
#: What decides, in the order it is named.
PARTS = ("holding", "surf", "weed", "wind")

UNKNOWN = -1
_YES, _HARD, _NO = range(3)
_HOLDING_GRADES = np.array([_YES, _HARD, _NO, UNKNOWN])
_SURF_GRADES = np.array([_YES, _NO, UNKNOWN])
_WEED_GRADES = np.array([_YES, _YES, _HARD, _NO, _YES, _HARD, _HARD, UNKNOWN])


def holding(stream_speed: ArrayLike) -> AnyArray:
    """Return codes of `HOLDING` for speeds of the stream [m/s, either sign]; -1 where unknown.

    Examples
    --------
    >>> [HOLDING[code] for code in holding([-0.4, 1.2, -1.5])]
    ['holds', 'marginal', 'does_not_hold']
    """
    speed = np.abs(np.asarray(stream_speed, dtype=np.float64))
    codes = (speed > HOLDS_M_PER_S).astype(np.int8) + (speed > LITTLE_HOLDS_M_PER_S)
    return np.where(np.isnan(speed), UNKNOWN, codes).astype(np.int8)


def in_sector(degree: ArrayLike, from_degree: float, to_degree: float) -> BoolArray:
    """Return whether directions lie in a sector that runs clockwise from one direction to another, both included.

    A sector from a direction to the same is all round. NaN is in none.

    Examples
    --------
    >>> in_sector([350.0, 90.0, 200.0], 300.0, 100.0).tolist()
    [True, True, False]
    """
    direction = np.asarray(degree, dtype=np.float64)
    width = (to_degree - from_degree) % 360.0 or 360.0
    return np.asarray((direction - from_degree) % 360.0 <= width)


def surf(height: ArrayLike, reaches: ArrayLike) -> AnyArray:
    """Return codes of `SURF` for significant heights [m]; -1 where unknown.

    Parameters
    ----------
    height : array, shape ``(n,)``
        The sea [m].
    reaches : int array, shape ``(n,)``
        1 where it reaches the mark, 0 where it does not, -1 where nobody knows: then a low sea is fishable, and a high
        one unknown.
    """
    sea, comes = np.asarray(height, dtype=np.float64), np.asarray(reaches)
    codes = np.where((sea > UNFISHABLE_SEA_M) & (comes != 0), 1, 0)
    unknown = np.isnan(sea) | ((codes == 1) & (comes == UNKNOWN))
    return np.where(unknown, UNKNOWN, codes).astype(np.int8)


def hindering_wind(speed: ArrayLike, from_degree: ArrayLike, facing_degree: float) -> FloatArray:
    """Return the part of the wind that hinders a cast straight out [m/s].

    The whole wind where it blows on to the shore, the part across where it blows off it.

    Examples
    --------
    >>> hindering_wind([8.0, 8.0, 8.0], [90.0, 180.0, 270.0], 90.0).round(6).tolist()
    [8.0, 8.0, 0.0]
    """
    wind, angle = np.asarray(speed, dtype=np.float64), np.radians(np.asarray(from_degree) - facing_degree)
    return wind * np.where(np.cos(angle) >= 0.0, 1.0, np.abs(np.sin(angle))) + 0.0 * angle


def weed(seen: AnyArray, risk: AnyArray) -> AnyArray:
    """Return codes of `WEED`: what was seen or, where nothing was, what the proxy says; -1 where neither is known.

    ``seen`` and ``risk`` are text, empty where unknown.
    """
    told = np.where(np.asarray(seen) != "", seen, risk)
    codes = np.full(told.shape, UNKNOWN, dtype=np.int8)
    for code, name in enumerate(WEED):
        codes[told == name] = code
    return codes


@dataclass(frozen=True, slots=True, eq=False)
class Fishable:
    """Codes of `FISHABLE` at ``n`` instants, -1 where unknown, and the grade of each of `PARTS`, shape ``(4, n)``."""

    codes: AnyArray
    grades: AnyArray

    def because(self, k: int) -> tuple[str, ...]:
        """Return what made it so at an instant: the parts with the worst grade, or those that are not known."""
        if self.codes[k] == _YES:
            return ()
        return tuple(part for part, grade in zip(PARTS, self.grades[:, k], strict=True) if grade == self.codes[k])


def fishable(holds: AnyArray, breaks: AnyArray, weeds: AnyArray, wind: FloatArray) -> Fishable:
    """Return whether the water can be fished.

    Parameters
    ----------
    holds, breaks, weeds : int arrays, shape ``(n,)``
        Codes of `HOLDING`, `SURF` and `WEED`.
    wind : float64 array, shape ``(n,)``
        `hindering_wind` [m/s].

    Returns
    -------
    Fishable
        As bad as its worst part. Where a part is unknown the whole is, unless another says no.
    """
    cut = np.where(np.isnan(wind), UNKNOWN, np.where(wind > REACH_WIND_M_PER_S, _HARD, _YES))
    grades = np.stack([_HOLDING_GRADES[holds], _SURF_GRADES[breaks], _WEED_GRADES[weeds], cut]).astype(np.int8)
    worst = grades.max(axis=0)
    unknown = (grades == UNKNOWN).any(axis=0) & (worst != _NO)
    return Fishable(np.where(unknown, UNKNOWN, worst).astype(np.int8), grades)
