"""Why a factor of the shore is unknown, in words."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from tidecore.shore.fishability import PARTS, UNKNOWN
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline import shore_columns as columns
from tidecore.timeline.factor import UNKNOWN_BOOLEAN, Words
from tidecore.timeline.frame import Frame
from tidecore.timeline.shore_sea import number, shore_run_up, shore_sea
from tidecore.units import AnyArray, BoolArray

if TYPE_CHECKING:
    from tidecore.timeline.sources import Sources

#: Distance of the instants that are looked at [microseconds].
_STEP_US = 10 * US_PER_MINUTE
#: The factor that each part of `fishable` is told by.
_PART_FACTORS = dict(zip(PARTS, ("holding", "surf", "weed", "crosswind"), strict=True))


def why_unknown(name: str) -> Words:
    """Return what tells, of the sources of a mark, why a factor of the shore is unknown for a part of the span."""
    return partial(_words, name=name)


def _words(sources: Sources, name: str) -> str:
    told = [
        reason if share > 0.995 else f"{reason} ({max(share, 0.01):.0%} of the span)"
        for reason, share in reasons(sources, name).items()
    ]
    return "; ".join(told) or "it is known over the whole span"


def reasons(sources: Sources, name: str) -> dict[str, float]:
    """Return why a factor of the shore is unknown.

    Parameters
    ----------
    sources : Sources
        Of a mark and a span.
    name : str
        The factor.

    Returns
    -------
    dict of str to float
        Each reason with the part of the span that it holds for, over 0; empty where all is known.
    """
    if name != "fishable":
        missing = sources.setting.missing(name)
        if missing:
            return dict.fromkeys(missing, 1.0)
    times = np.arange(sources.span.start_us, sources.span.end_us, _STEP_US, dtype=np.int64)
    found = _of(Frame(sources, times), name)
    return {reason: share for reason, share in found.items() if share > 0.0}


def _share(where: BoolArray) -> float:
    return float(np.mean(where))


def _of(frame: Frame, name: str) -> dict[str, float]:
    if name in ("run_up", "dry_margin"):
        found = frame.once(shore_run_up)
        return {} if found is None else found.reasons()
    if name == "holding":
        if frame.sources.mark.stream_rates is None:
            return {"the mark has no rates of its stream": 1.0}
        return {"there is no tide to tell the stream by": _share(np.isnan(frame.stream_speed))}
    if name == "surf":
        return _of_surf(frame)
    if name == "weed":
        reason = "nobody saw whether there is weed, and past seas do not tell how likely it is"
        return {reason: _share(columns.weed_codes(frame) == UNKNOWN)}
    if name == "crosswind":
        speed, whence = np.isnan(number(frame, "wind_speed_m_per_s")), np.isnan(number(frame, "wind_from_degree"))
        return {
            "the speed of the wind is not known": _share(speed),
            "the direction of the wind is not known": _share(whence & ~speed),
        }
    if name == "fishable":
        return _of_fishable(frame)
    return {"the still level is off the profile, or the tide is unknown": _share(_unknown_level(frame, name))}


def _unknown_level(frame: Frame, name: str) -> BoolArray:
    column: AnyArray
    if name == "water_behind":
        column = columns.water_behind(frame)
        return np.asarray(column == UNKNOWN_BOOLEAN)
    column = columns.waterline(frame) if name == "waterline" else columns.to_turn_back(frame)
    return np.isnan(column)


def _of_surf(frame: Frame) -> dict[str, float]:
    height, unknown = np.isnan(frame.once(shore_sea).waves.height), columns.surf_codes(frame) == UNKNOWN
    return {
        "the height of the sea is not known": _share(height),
        "whether the sea comes to the mark is not known": _share(unknown & ~height),
    }


def _of_fishable(frame: Frame) -> dict[str, float]:
    found = columns.fishable_of(frame)
    return {
        f"{_PART_FACTORS[part]} is not known": _share((found.codes == UNKNOWN) & (grade == UNKNOWN))
        for part, grade in zip(PARTS, found.grades, strict=True)
    }
