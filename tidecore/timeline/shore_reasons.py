"""Why a factor of the shore is unknown, in words."""

from __future__ import annotations

import numpy as np

from tidecore.errors import UnknownName
from tidecore.shore.fishability import PARTS, UNKNOWN
from tidecore.timeline.columns import Timeline, evaluate
from tidecore.timeline.factor import UNKNOWN_BOOLEAN
from tidecore.timeline.frame import Frame
from tidecore.timeline.sea_at_mark import given, run_up_at_mark, sea_at_mark
from tidecore.timeline.shore import FACTORS
from tidecore.timeline.shore_columns import fishable_of
from tidecore.units import BoolArray

_NAMES = tuple(factor.name for factor in FACTORS)
#: The factor that each part of `fishable` is told by.
_PART_FACTORS = dict(zip(PARTS, ("holding", "surf", "weed", "crosswind"), strict=True))


def why_unknown(timeline: Timeline, name: str) -> dict[str, float]:
    """Return why a factor of the shore is unknown.

    Parameters
    ----------
    timeline : Timeline
        Of the mark.
    name : str
        The factor.

    Returns
    -------
    dict of str to float
        Each reason with the part of the timeline's instants that it holds for; empty where all is known.

    Raises
    ------
    UnknownName
        If it is no factor of the shore.
    """
    if name not in _NAMES:
        raise UnknownName("factor of the shore", name, _NAMES)
    frame = Frame(timeline.sources, timeline.grid.times_us())
    missing = timeline.sources.setting.missing(name)
    if missing and name != "fishable":
        return dict.fromkeys(missing, 1.0)
    return {reason: share for reason, share in _reasons(frame, name).items() if share > 0.0}


def _share(where: BoolArray) -> float:
    return float(np.mean(where)) if where.size else 0.0


def _reasons(frame: Frame, name: str) -> dict[str, float]:
    if name in ("run_up", "dry_margin"):
        found = frame.once(run_up_at_mark)
        return {} if found is None else found.reasons()
    if name == "holding":
        if frame.sources.mark.stream_rates is None:
            return {"the mark has no rates of its stream": 1.0}
        return {"there is no tide to tell the stream by": _share(np.isnan(frame.stream_speed))}
    if name == "surf":
        return _of_surf(frame)
    if name == "weed":
        return {
            "nobody saw whether there is weed, and nothing tells how likely it is": _share(evaluate(frame, name) == "")
        }
    if name == "crosswind":
        speed, whence = np.isnan(given(frame, "wind_speed")), np.isnan(given(frame, "wind_from"))
        return {
            "the speed of the wind is not known": _share(speed),
            "the direction of the wind is not known": _share(whence & ~speed),
        }
    if name == "fishable":
        found_grades = fishable_of(frame)
        unknown = found_grades.codes == UNKNOWN
        return {
            f"{_PART_FACTORS[part]} is not known": _share(unknown & (grade == UNKNOWN))
            for part, grade in zip(PARTS, found_grades.grades, strict=True)
        }
    column = evaluate(frame, name)
    unknown = column == UNKNOWN_BOOLEAN if column.dtype.kind == "i" else np.isnan(column)
    return {"the still level is off the profile, or the tide is unknown": _share(unknown)}


def _of_surf(frame: Frame) -> dict[str, float]:
    height = np.isnan(frame.once(sea_at_mark).waves.height)
    unknown = evaluate(frame, "surf") == ""
    return {
        "the height of the sea is not known": _share(height),
        "whether the sea comes to the mark is not known": _share(unknown & ~height),
    }
