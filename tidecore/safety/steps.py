"""The worst hazard of each step of a timeline, as columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.safety.assessing import NOBODY, graded_lines
from tidecore.safety.outing import OutingFacts
from tidecore.safety.telling import GRADE_OF
from tidecore.safety.thresholds import DEFAULTS, Thresholds
from tidecore.shore.dangers import CAUTION, DANGER, INFO, NOT_ASSESSED
from tidecore.timeline import Timeline
from tidecore.units import AnyArray, BoolArray, UtcTimes

#: The order in which one grade stands for several, the gravest first.
_WORST = (DANGER, CAUTION, NOT_ASSESSED, INFO)


@dataclass(frozen=True, slots=True, eq=False)
class WorstOfSteps:
    """Of each of ``n`` steps: the worst grade, the kinds of that grade, and those not assessed, blanks between them.

    Where nothing is known against a step its grade is ``"info"``: that it is safe is never said.
    """

    grades: AnyArray
    kinds: AnyArray
    not_assessed: AnyArray


def worst_in_steps(
    timeline: Timeline,
    times: UtcTimes,
    step: np.timedelta64,
    thresholds: Thresholds = DEFAULTS,
    facts: OutingFacts = NOBODY,
) -> WorstOfSteps:
    """Return the worst hazards of steps that begin at ``times`` [UTC, shape ``(n,)``], in the span of a timeline.

    Looked at as `tidecore.safety.assess` looks at an outing of each step: from the instant before it to that after.
    """
    look, lines = graded_lines(timeline, thresholds, facts)
    begin = times.astype("datetime64[us]").astype(np.int64)
    first = np.searchsorted(look.times_us, begin, side="right") - 1
    end = begin + int(step.astype("timedelta64[us]").astype(np.int64))
    stop = np.minimum(np.searchsorted(look.times_us, end, side="left") + 1, len(look))
    there = {code: np.zeros((len(lines), times.size), dtype=np.bool_) for code in _WORST}
    for k, line in enumerate(lines):
        for code in _WORST:
            count = np.concatenate(([0], np.cumsum(line.codes == code)))
            there[code][k] = count[stop] > count[first]
    names = [line.kind for line in lines]
    grades, kinds = np.full(times.size, GRADE_OF[INFO], dtype="U12"), _named(there[INFO], names)
    for code in reversed(_WORST[:-1]):
        at = there[code].any(axis=0)
        grades[at] = GRADE_OF[code]
        kinds = np.where(at, _named(there[code], names), kinds)
    return WorstOfSteps(grades, kinds, _named(there[NOT_ASSESSED], names))


def _named(there: BoolArray, names: list[str]) -> AnyArray:
    """Return the names of the rows that hold in each column; columns that are alike are put together once."""
    patterns, places = np.unique(there, axis=1, return_inverse=True)
    said = [" ".join(dict.fromkeys(np.array(names)[holds].tolist())) for holds in patterns.T]
    return np.array(said)[places.reshape(-1)] if said else np.empty(0, dtype="U1")
