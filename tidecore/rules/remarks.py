"""A remark about a rule, and what a factor can be at all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.rules.tree import Leaf
from tidecore.timeline.factor import Factor
from tidecore.timeline.registry import find_factor
from tidecore.units import AnyArray, FloatArray

RemarkKind = Literal["contradiction", "never_met", "no_effect", "never_known", "ground"]

#: Numbers that only come whole: their least and greatest value.
WHOLE = {"month": (1, 12), "day_of_year": (1, 366), "calendar_day": (1, 366)}
#: Least and greatest value of numbers that have them by definition; those in percent go from 0 to 100.
_LIMITS: dict[str, tuple[float, float]] = {
    "flow_strength": (0.0, np.inf),
    "tide_phase": (0.0, 1.0),
    "fraction": (0.0, 1.0),
    "range": (0.0, np.inf),
    "range_ratio": (0.0, np.inf),
    "sun_altitude": (-90.0, 90.0),
    "moon_altitude": (-90.0, 90.0),
    "illuminated_fraction": (0.0, 1.0),
    "moonlight": (0.0, 1.0),
    "wave_height": (0.0, np.inf),
    "wave_from": (0.0, 360.0),
    "wind_speed": (0.0, np.inf),
    "wind_gust": (0.0, np.inf),
    "wind_from": (0.0, 360.0),
    "rain": (0.0, np.inf),
    "visibility": (0.0, np.inf),
    "hours_since_sea_peak": (0.0, np.inf),
}


@dataclass(frozen=True, slots=True)
class Remark:
    """Something about a rule that its author can hardly mean; no fault, for the rule can be used as it is.

    ``path`` is where in the rule, ``kind`` of what sort, ``problem`` what it is, ``better`` what would be better.
    """

    path: str
    kind: RemarkKind
    problem: str
    better: str


def possible_values(leaves: list[Leaf], threshold: float) -> AnyArray:
    """Return values of the one factor of ``leaves`` at which they suit best and worst, within what it can be.

    Every value of a category and of a whole number; of other numbers the corners, where a ramp passes the
    ``threshold``, the limits, and a value between each two and outside them all.
    """
    factor = find_factor(leaves[0].factor)
    if factor.kind == "category":
        return np.array(factor.categories)
    if factor.kind == "boolean":
        return np.array([0, 1], dtype=np.int8)
    if factor.name in WHOLE:
        low, high = WHOLE[factor.name]
        return np.arange(low, high + 1, dtype=np.float64)
    return _numbers(factor, leaves, threshold)


def _numbers(factor: Factor, leaves: list[Leaf], threshold: float) -> FloatArray:
    corners = {corner for leaf in leaves for corner in leaf.term.corners()}
    shown = sorted(corners)
    ramps = {one + part * (other - one) for one in shown for other in shown for part in (threshold, 1.0 - threshold)}
    low, high = (0.0, 100.0) if factor.unit == "%" else _LIMITS.get(factor.name, (-np.inf, np.inf))
    if factor.period is not None:
        low, high = max(low, 0.0), min(high, factor.period)
    ends = [shown[0] - 1.0, shown[-1] + 1.0] if shown else [0.0]
    found = np.array(sorted(corners | ramps | set(ends) | {end for end in (low, high) if np.isfinite(end)}))
    found = np.concatenate((found, 0.5 * (found[1:] + found[:-1])))
    return np.asarray(found[(found >= low) & (found <= high)])
