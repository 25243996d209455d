"""The ground of a mark across the shore: where the still water stands on it, and what it cuts off."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from tidecore.errors import Fault, InvalidInput
from tidecore.units import BoolArray, FloatArray, IntArray

#: A plane beach is drawn so far above and below the zero of its ground [m].
_PLANE_REACH_M = 100.0


# No slots: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True, eq=False)
class Ground:
    """A profile: levels of the ground along a line from a fixed point out to sea, straight between its points.

    Parameters
    ----------
    distances : float64 array, shape ``(n,)``, ``n >= 2``
        Seaward from the fixed point [m], never falling; two points at one distance are an upright face.
    levels : float64 array, shape ``(n,)``
        Of the ground [m above the zero of the ground].
    beds : tuple of str, length ``n``
        What the ground is from each point to the next; empty text where nobody knows.
    plane : bool
        Whether it is a plane beach made of a slope alone; its distances then count from the zero of the ground.

    Raises
    ------
    InvalidInput
        If the arrays do not fit each other, run backwards or hold NaN.

    Notes
    -----
    Ground at or under the still level is wet. The water reaches all ground under its level, however it comes there:
    troughs behind a bar fill from their ends.

    Examples
    --------
    >>> bar = Ground(np.array([0.0, 30.0, 40.0, 50.0, 90.0]), np.array([3.0, 0.0, 1.0, 1.0, -1.0]), ("",) * 5)
    >>> bar.waterline([2.0, 0.5, -0.5]).tolist()
    [10.0, 25.0, 80.0]
    >>> bar.isolates([2.0, 0.5, -0.5]).tolist()
    [False, True, False]
    """

    distances: FloatArray
    levels: FloatArray
    beds: tuple[str, ...]
    plane: bool = False

    def __post_init__(self) -> None:
        """Check that it is one."""
        distances, levels = (np.asarray(one, dtype=np.float64) for one in (self.distances, self.levels))
        if distances.ndim != 1 or distances.size < 2 or levels.shape != distances.shape:
            problem = f"has {distances.shape} distances and {levels.shape} levels"
            raise InvalidInput(Fault("profile", problem, "a level for each of at least two distances"))
        if len(self.beds) != distances.size:
            raise InvalidInput(Fault("profile", f"has {len(self.beds)} beds", f"{distances.size}, one a point"))
        if not (np.isfinite(distances).all() and np.isfinite(levels).all()):
            raise InvalidInput(Fault("profile", "holds NaN or infinity", "finite distances and levels"))
        if (np.diff(distances) < 0.0).any():
            k = int(np.argmax(np.diff(distances) < 0.0)) + 1
            problem = f"{distances[k]:g} m comes after {distances[k - 1]:g} m"
            raise InvalidInput(Fault(f"profile.{k}.distance_m", problem, "distances that run out to sea"))
        object.__setattr__(self, "distances", distances)
        object.__setattr__(self, "levels", levels)

    @cached_property
    def _content(self) -> tuple[bytes, bytes, tuple[str, ...], bool]:
        return self.distances.tobytes(), self.levels.tobytes(), self.beds, self.plane

    def __eq__(self, other: object) -> bool:
        """Return whether it is the same ground, so that what follows from a ground may be kept."""
        return isinstance(other, Ground) and other._content == self._content

    def __hash__(self) -> int:
        """Hash the content."""
        return hash(self._content)

    @cached_property
    def lowest_so_far(self) -> FloatArray:
        """Lowest level from the fixed point out to each point [m]: the still level from which it has water behind."""
        return np.minimum.accumulate(self.levels)

    @cached_property
    def highest_beyond(self) -> FloatArray:
        """Highest level from each point on out to sea [m]."""
        return np.maximum.accumulate(self.levels[::-1])[::-1]

    def _first_wet(self, still: FloatArray) -> IntArray:
        """Return the first point that is wet; the number of points where none is, or the level is NaN."""
        return np.searchsorted(-self.lowest_so_far, -still, side="left")

    def level_at(self, distance: ArrayLike) -> FloatArray:
        """Return the level of the ground [m]; NaN off the profile."""
        at = np.asarray(distance, dtype=np.float64)
        return np.interp(at, self.distances, self.levels, left=np.nan, right=np.nan)

    def bed_at(self, distance: float) -> str:
        """Return the bed; empty text where it is unknown or off the profile."""
        k = int(np.searchsorted(self.distances, distance, side="right")) - 1
        return self.beds[k] if 0 <= k and distance <= self.distances[-1] else ""

    def waterline(self, still: ArrayLike) -> FloatArray:
        """Return where still water meets the land: its most landward crossing of the ground.

        Parameters
        ----------
        still : array, any shape
            Levels of the still water [m above the zero of the ground].

        Returns
        -------
        float64 array of the same shape
            Distance [m]. Minus infinity where the water stands over the landward end of the profile, infinity where
            all of the profile is dry; NaN where the level is. It never grows with the level.
        """
        level = np.asarray(still, dtype=np.float64)
        wet = self._first_wet(level)
        k = np.clip(wet, 1, self.levels.size - 1)
        above, below, start = self.levels[k - 1], self.levels[k], self.distances[k - 1]
        with np.errstate(divide="ignore", invalid="ignore"):
            at = start + (above - level) / (above - below) * (self.distances[k] - start)
        at = np.where(wet == 0, -np.inf, np.where(wet == self.levels.size, np.inf, at))
        return np.where(np.isnan(level), np.nan, at)

    def isolates(self, still: ArrayLike) -> BoolArray:
        """Return whether dry ground stands seaward of the waterline: who is on it has water behind."""
        level = np.asarray(still, dtype=np.float64)
        wet = self._first_wet(level)
        beyond = self.highest_beyond[np.minimum(wet, self.levels.size - 1)]
        return np.asarray((wet < self.levels.size) & (beyond > level))

    def level_of_reach(self, distance: ArrayLike) -> FloatArray:
        """Return the still level at which the waterline comes to a distance: the lowest ground on the way there [m].

        Infinity landward of the profile, NaN seaward of it.
        """
        at = np.asarray(distance, dtype=np.float64)
        k = np.clip(np.searchsorted(self.distances, at, side="right") - 1, 0, self.levels.size - 1)
        reach = np.minimum(self.lowest_so_far[k], self.level_at(at))
        return np.where(at < self.distances[0], np.inf, reach)

    def sill_behind(self, distance: float) -> float | None:
        """Return the lowest ground between a place and the land, where it lies lower than the place itself [m].

        From that level on the still water stands behind whoever stands there. None where the ground only rises
        towards the land, and off the profile.
        """
        here, lowest = float(self.level_at(distance)), float(self.level_of_reach(distance))
        return lowest if lowest < here else None

    def water_behind(self, still: ArrayLike, distance: float) -> BoolArray:
        """Return whether the waterline lies landward of a place: whoever stands there is cut off, or in the water."""
        return np.asarray(self.waterline(still) < distance)

    def dry_spans(self, still: float) -> list[tuple[float, float]]:
        """Return where the ground is dry, landward first, as spans of distance [m]."""
        above = self.levels - still
        k = np.flatnonzero((above[:-1] > 0.0) != (above[1:] > 0.0))
        edges = self.distances[k] + above[k] / (above[k] - above[k + 1]) * np.diff(self.distances)[k]
        borders = edges.tolist()
        if above[0] > 0.0:
            borders.insert(0, float(self.distances[0]))
        if above[-1] > 0.0:
            borders.append(float(self.distances[-1]))
        return list(zip(borders[::2], borders[1::2], strict=True))

    def mean_slope(self, low: FloatArray, high: FloatArray) -> FloatArray:
        """Return the mean slope between the waterlines of two still levels, as a tangent.

        0 where a waterline is off the profile; infinity on an upright face.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            run = self.waterline(low) - self.waterline(high)
            slope = (high - low) / run
        return np.where(np.isfinite(run), slope, np.where(np.isnan(run), np.nan, 0.0))

    def share_of_beds(self, start: FloatArray, end: FloatArray, beds: frozenset[str]) -> BoolArray:
        """Return whether all the ground from one distance to another, both on the profile, is of certain beds."""
        belongs = np.array([bed in beds for bed in self.beds[:-1]])
        if belongs.all():
            return np.ones(np.shape(start), dtype=np.bool_)
        counted = np.concatenate(([0], np.cumsum(belongs)))
        last = self.levels.size - 2
        first = np.clip(np.searchsorted(self.distances, start, side="right") - 1, 0, last)
        final = np.clip(np.searchsorted(self.distances, end, side="left") - 1, first, last)
        return np.asarray(counted[final + 1] - counted[first] == final + 1 - first)

    def local_slope(self, still: ArrayLike) -> FloatArray:
        """Return the slope of the ground at the waterline, as a tangent; NaN off the profile.

        Where the level is that of a corner, the slope on the seaward side.
        """
        level = np.asarray(still, dtype=np.float64)
        wet = self._first_wet(level)
        k = np.clip(wet, 1, self.levels.size - 1)
        beyond = np.minimum(k + 1, self.levels.size - 1)
        k = np.where((self.levels[k] == level) & (self.levels[beyond] < level), beyond, k)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (self.levels[k - 1] - self.levels[k]) / (self.distances[k] - self.distances[k - 1])
        return np.where((wet == 0) | (wet == self.levels.size), np.nan, slope)


def plane_ground(slope: float, bed: str = "") -> Ground:
    """Return a plane beach of a slope (tangent), its distances counted from the zero of the ground.

    Examples
    --------
    >>> plane_ground(1 / 80).waterline([1.0, -0.5]).round(9).tolist()
    [-80.0, 40.0]
    """
    if not 0.0 < slope < np.inf:
        raise InvalidInput(Fault("beach_slope", f"is {slope!r}", "a positive tangent"))
    reach = _PLANE_REACH_M / slope
    levels = np.array([_PLANE_REACH_M, -_PLANE_REACH_M])
    return Ground(np.array([-reach, reach]), levels, (bed, bed), plane=True)
