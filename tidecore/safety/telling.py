"""A stretch of one grade of a hazard, told to whoever is out meanwhile: from when to when, how bad, and in words."""

from __future__ import annotations

import math
import zoneinfo
from functools import lru_cache
from string import Formatter

import numpy as np

from tidecore.safety.line import Line
from tidecore.safety.looking import Look
from tidecore.safety.report import Grade, Hazard
from tidecore.shore.dangers import CAUTION, DANGER, INFO, NOT_ASSESSED
from tidecore.timebase import US_PER_DAY, US_PER_MINUTE
from tidecore.timeline.wall_clock import shown_minute

#: When a hazard is over is told so long after an outing, and when turning back was due so long before it; past that,
#: that it lasts longer [microseconds].
_BEYOND_US = 360 * US_PER_MINUTE
GRADE_OF: dict[int, Grade] = {INFO: "info", CAUTION: "caution", NOT_ASSESSED: "not_assessed", DANGER: "danger"}


def tell(line: Line, look: Look, code: int, part: slice, ends: int, first: int, last: int) -> Hazard:
    """Return the hazard of a stretch of one grade, as far as an outing from ``first`` to ``last`` meets it.

    ``part`` are the places of the look that have the grade and lie in the outing, ``code`` is that of the grade.
    ``ends`` is where the stretch itself ends in what is looked at: after the outing, it may be.
    """
    times, text = look.times_us, line.texts[code]
    begin = max(first, int(times[part.start if code == INFO else max(part.start - 1, 0)]))
    finish = min(last, int(times[min(part.stop, times.size - 1)]))
    value, due = _worst(line, code, part), None
    asked, words = _asked(text), {}
    if "turn_back" in asked:
        due = _turn_back(line, look, part)
        if code == DANGER:
            # In an outing that does not end in time the danger begins when turning back is due.
            begin = max(first, min(begin, due))
    # Most of what is told names nothing, and is not put together anew for every outing.
    if asked:
        zone, within = look.sources.mark.zone, last - first

        def shown(time_us: int) -> str:
            return _clock(zone, time_us, within)

        words = {name: shown(at) for name, at in (("since", begin), ("until", finish)) if name in asked}
        if "over" in asked:
            over = int(times[min(ends, times.size - 1)])
            words["over"] = shown(over) if over <= last + _BEYOND_US else f"after {shown(last + _BEYOND_US)}"
        if due is not None:
            late, long_past = due < first, due < first - _BEYOND_US
            words["turn_back"] = f"or before {shown(first - _BEYOND_US)}" if long_past else shown(due)
            words["turning"] = "Turning back was due at" if late else "Turn back by"
            words["alone"] = "Alone, and turning back was due at" if late else "Alone, turn back well before"
        words |= _beside(line, part)
        if value is not None:
            words["beside"] = f"{abs(value):.1f} m {'above' if value < 0.0 else 'below'}"
    return Hazard(
        line.kind,
        GRADE_OF[code],
        _moment(begin),
        _moment(finish),
        value,
        line.unit,
        None if value is None else line.thresholds.get(code),
        line.source,
        text.format(value=math.nan if value is None else value, **words),
        None if due is None else _moment(due),
    )


def _worst(line: Line, code: int, part: slice) -> float | None:
    """Return the worst of what was held against the threshold; None where nothing was, or all of it is unknown."""
    values = line.values.get(code)
    if values is None:
        return None
    # NaN only where all of them are.
    worst = float((np.fmin if line.least_is_worst else np.fmax).reduce(values[part]))
    return None if math.isnan(worst) else worst


def _beside(line: Line, part: slice) -> dict[str, str]:
    """Return what else texts of a line name: the largest of the stretch."""
    words = {}
    for name, column in line.besides.items():
        known = column[part][~np.isnan(column[part])]
        words[name] = f"{known.max():.0f}" if known.size else "unknown"
    for name, (places, names) in line.named.items():
        words[name] = names[int(places[part].max())]
    return words


def _turn_back(line: Line, look: Look, part: slice) -> int:
    """Return when turning back is due, by the time that is left at the first instant of a stretch that tells it."""
    left = line.values[DANGER][part]
    k = int(np.argmax(~np.isnan(left)))
    return int(look.times_us[part.start + k]) + round(float(left[k]) * US_PER_MINUTE)


@lru_cache(maxsize=1024)
def _asked(text: str) -> frozenset[str]:
    """Return what a text names in curly brackets."""
    return frozenset(name for _, name, _, _ in Formatter().parse(text) if name is not None)


# The hazards of an outing begin and end together, most of them.
@lru_cache(maxsize=4096)
def _moment(time_us: int) -> np.datetime64:
    return np.datetime64(time_us, "us")


@lru_cache(maxsize=4096)
def _clock(zone: zoneinfo.ZoneInfo, time_us: int, within_us: int) -> str:
    """Return what a clock at the mark shows, to the minute; with the date where that may be of several days."""
    shown = shown_minute(zone, time_us)
    return shown[11:] if within_us < US_PER_DAY else shown
