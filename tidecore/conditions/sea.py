"""The sea at one mark: the waves that reach it, when it peaked, whether it grows, and the past of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tidecore.conditions.merged import Conditions
from tidecore.conditions.past import Past, day_sum_over, highest_of_day, over
from tidecore.conditions.pieces import FULL_CIRCLE, Pieces
from tidecore.place import Exposure, Mark
from tidecore.timebase import US_PER_HOUR
from tidecore.units import FloatArray, IntArray

#: A sea under this has no peak [m], and one that has not grown by a fifth in a day is none; a convention.
PEAK_LEAST_M, PEAK_GROWTH = 1.0, 1.2
#: Hours since the sea peaked are not counted further than this.
PEAK_LONGEST_H = 240.0
#: The sea rises or falls by what it was so long before [h], where it differs by as much [m] and by a part.
TREND_H, TREND_LEAST_M, TREND_PART = 3.0, 0.1, 0.1
TRENDS = ("rising", "steady", "falling")
#: Seas that colour the water and that tear weed off [m]; rain that colours an estuary [mm in 24 h]; common practice.
COLOURING_M, TEARING_M, COLOURING_MM = 1.5, 2.0, 20.0
#: Waves from this far on both sides of where a mark faces come on to the shore [degrees].
_ONSHORE = 90.0
#: What a change may lack of a bound by rounding alone [m].
_ROUNDING = 1e-9


class Waters:
    """Waters of one sea that clear alike, as a key: marks that have the very same one have one clarity."""


# No slots: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True, eq=False)
class SeaAtMark:
    """What `Conditions` say of the sea at a mark; of the mark count where it faces and its exposure alone."""

    conditions: Conditions
    mark: Mark

    @cached_property
    def height(self) -> Pieces:
        """Wave height at the mark [m]: none of waves of open water from outside its exposure sector."""
        return _reaching(self.conditions, self.mark.exposure)

    @cached_property
    def onshore(self) -> Pieces:
        """Wave height [m] of seas on to the shore.

        By the exposure sector, else from within 90 degrees of where the mark faces; all seas where neither is stated.
        """
        facing = self.mark.facing_degree
        if self.mark.exposure is not None or facing is None:
            return self.height
        ends = {"from_degree": (facing - _ONSHORE) % FULL_CIRCLE, "to_degree": (facing + _ONSHORE) % FULL_CIRCLE}
        return _reaching(self.conditions, Exposure.parse(ends))

    @cached_property
    def peaks(self) -> Past:
        """When the sea was at a peak."""
        return Past.of(self.height, highest_of_day(PEAK_LEAST_M, PEAK_GROWTH))

    @cached_property
    def colouring(self) -> Past:
        """When a sea ran on to the shore that colours the water."""
        return Past.of(self.onshore, over(COLOURING_M))

    @cached_property
    def tearing(self) -> Past:
        """When a sea ran on to the shore that tears weed off."""
        return Past.of(self.onshore, over(TEARING_M))

    @cached_property
    def wet(self) -> Past:
        """When rain of the 24 h before was enough to colour an estuary."""
        return Past.of(self.conditions.pieces("rain_mm_per_h"), day_sum_over(COLOURING_MM))

    def waters(self, bed: str | None, estuary: bool) -> Waters:
        """Return the waters over beds of one class, those of estuaries apart."""
        return self._waters.setdefault((bed, estuary), Waters())

    @cached_property
    def _waters(self) -> dict[tuple[str | None, bool], Waters]:
        return {}

    def hours_since_peak(self, times_us: IntArray) -> FloatArray:
        """Return hours since the sea was at a peak, at most 240; NaN where no peak is known and there may be one."""
        since, known = self.peaks.told(times_us)
        # A peak needs a known day before it.
        none = np.isnan(since) & (known >= PEAK_LONGEST_H + 24.0)
        since = np.where(none, PEAK_LONGEST_H, np.minimum(since, PEAK_LONGEST_H))
        return np.where(self.height.found(times_us) >= 0, since, np.nan)

    def peak_breaks_us(self) -> IntArray:
        """Return the instants at which the hours since the sea peaked jump or turn."""
        later = self.peaks.breaks_us(PEAK_LONGEST_H, PEAK_LONGEST_H + 24.0)
        return np.concatenate((later, *self.height.runs()))

    def trend(self, times_us: IntArray) -> IntArray:
        """Return the places in `TRENDS` of what the sea does, -1 where unknown."""
        now, before = self.height.at(times_us), self.height.at(times_us - round(TREND_H * US_PER_HOUR))
        change = now - before
        enough = np.maximum(TREND_LEAST_M, TREND_PART * before) - _ROUNDING
        found = np.where(change >= enough, 0, np.where(change <= -enough, 2, 1))
        return np.where(np.isnan(change), -1, found)

    def trend_breaks_us(self) -> IntArray:
        """Return the instants at which the sea begins or ceases to rise or fall, and all corners of its height."""
        lag = round(TREND_H * US_PER_HOUR)
        own = self.height.breaks_us()
        corners = np.unique(np.concatenate((own, own + lag)))
        if corners.size < 2:
            return corners
        # Both heights are straight between two corners, so that each bound is passed once at most.
        left, right = corners[:-1], corners[1:] - 1
        ends = [(self.height.at(at), self.height.at(at - lag)) for at in (left, right)]
        passed = [corners]
        for now_part, before_part, level in (
            (1.0, -1.0, TREND_LEAST_M),
            (1.0, -1.0 - TREND_PART, 0.0),
            (-1.0, 1.0, TREND_LEAST_M),
            (-1.0, 1.0 - TREND_PART, 0.0),
        ):
            first, last = (now_part * now + before_part * before - level + _ROUNDING for now, before in ends)
            k = np.flatnonzero((first < 0.0) != (last < 0.0))
            k = k[~np.isnan(first[k]) & ~np.isnan(last[k])]
            share = first[k] / (first[k] - last[k])
            crossing = left[k] + np.rint(share * (right[k] - left[k])).astype(np.int64)
            passed += [crossing, crossing + 1]
        return np.concatenate(passed)


def sea_at(conditions: Conditions, mark: Mark) -> SeaAtMark:
    """Return the sea at a mark; marks that face alike and are as open share it, as long as the conditions are kept."""
    sector = mark.exposure
    key = None if sector is None else (sector.from_degree, sector.to_degree), mark.facing_degree
    return conditions.once(key, lambda: SeaAtMark(conditions, mark))


def _reaching(conditions: Conditions, sector: Exposure | None) -> Pieces:
    """Return the wave height [m] with that of open water from outside a sector as 0; unknown directions reach."""
    height, direction = conditions.pieces("wave_height_m"), conditions.pieces("wave_from_degree")
    offshore = np.array([issue.waves_at == "offshore" for issue in conditions.issues], dtype=np.bool_)
    if sector is None or not len(height) or not len(direction):
        return height
    cuts = np.concatenate(
        (direction.breaks_us(), *(_crossings(direction, edge) for edge in (sector.from_degree, sector.to_degree)))
    )
    bounds = np.unique(np.concatenate((height.start_us, height.end_us, cuts)))
    k = height.found(bounds[:-1])
    start, end, k = bounds[:-1][k >= 0], bounds[1:][k >= 0], k[k >= 0]
    from_degree = direction.at(start + (end - start) // 2)
    away = ~np.isnan(from_degree) & ~sector.holds(from_degree) & offshore[height.owner[k]]
    value, slope = np.where(away, 0.0, height.value[k]), np.where(away, 0.0, height.slope[k])
    return Pieces(start, end, height.origin_us[k], value, slope, height.owner[k])


def _crossings(direction: Pieces, edge_degree: float) -> IntArray:
    """Return the instants at which a direction passes an edge within a piece; each turns by half a round at most."""
    slope = direction.slope
    turn = (edge_degree - direction.value) % FULL_CIRCLE
    turn = np.where(slope < 0.0, turn - FULL_CIRCLE, turn)
    moving = slope != 0.0
    after = turn[moving] / slope[moving]
    at = direction.origin_us[moving] + np.ceil(np.minimum(after, 9e17)).astype(np.int64)
    inside = (at > direction.start_us[moving]) & (at < direction.end_us[moving])
    return np.asarray(at[inside])
