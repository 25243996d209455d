"""Why not, in words: what is in the way, by how much, and when it would do."""

from __future__ import annotations

import datetime
import zoneinfo

import numpy as np

from tidecore.place import Mark
from tidecore.rules import SpeciesRule
from tidecore.timeline.called import factor_words
from tidecore.windows.obstacle import Obstacle, WhyNot
from tidecore.windows.wording import day_and_clock, hours_words, listed, short_score

_HOUR = np.timedelta64(1, "h")
#: Decimals of what is said in a unit; two in any other.
_DECIMALS = {"m/s": 1, "h": 1, "min": 0, "d": 1, "degree": 1, "s": 1, "degC": 1, "hPa": 0, "%": 0, "mm/h": 1}


def obstacle_sentences(found: WhyNot, rule: SpeciesRule, mark: Mark, *, over_span: bool) -> tuple[str, ...]:
    """Return why a rule does not hold at a mark, in sentences by its clocks."""
    zone, obstacles, inside = mark.zone, found.obstacles, found.inside
    when = day_and_clock(zone, int(found.time.astype(np.int64)))
    best = f"at best, at {when}," if over_span else f"at {when}"
    said = []
    if rule.beds and found.suitability in ("other_bed", "unknown"):
        wanted, there = (listed(bed.replace("_", " ") for bed in some) for some in (rule.beds, mark.beds))
        ground = f"the ground here is {there}" if there else "no ground is stated for this mark"
        said.append(f"The rule wants {wanted}; {ground}.")
    if found.holds and inside:
        spans = listed(f"{_day(zone, one.start)} to {_day(zone, one.end)}" for one in inside)
        said.append(f"It does hold: a window runs from {spans}.")
    elif found.holds:
        said.append(f"It holds {best} but for less than the {rule.minimum_duration_min:g} min that make a window.")
    elif found.suitability != "other_bed":
        said.append(f"The score is {short_score(found.score)} {best} and {found.threshold:.2f} is needed.")
    said += [_obstacle(zone, one) for one in obstacles]
    alone = [factor_words(one.factor) for one in obstacles if one.enough_alone]
    if alone and not found.holds and found.suitability != "other_bed":
        said.append(f"A change of one thing alone would do: {listed(alone).replace(' and ', ' or ')}.")
    elif obstacles and not found.holds:
        said.append("No change of one thing alone would do; another time might.")
    for one, how in ((found.before, "before"), (found.after, "after")):
        if one is not None:
            edge = one.end if how == "before" else one.start
            away = hours_words(abs(float((edge - found.time) / _HOUR)))
            said.append(f"The nearest window {how} is {_day(zone, one.start)} to {_day(zone, one.end)}, {away} away.")
    if found.before is None and found.after is None and not inside:
        said.append("There is no window in the time looked at.")
    return tuple(said)


def _obstacle(zone: zoneinfo.ZoneInfo, one: Obstacle) -> str:
    """Return one obstacle in a sentence."""
    name, needed = factor_words(one.factor), _value(one.needed, one.unit, one.factor)
    weighs = "" if one.role == "require" else " (it only weighs)"
    if one.unknown_because is not None:
        return f"The {name} is not known{weighs}: {one.unknown_because}."
    off = "" if one.off_by is None else f", off by {_number(one.off_by, one.unit)}"
    wants = "" if one.needed is None else f"; it would need {needed}{off}"
    sentence = f"The {name} is {_value(one.value, one.unit, one.factor)}{weighs}{wants}"
    times = [
        f"{'last' if k == 0 else 'next'} at {_day(zone, time)}"
        for k, time in enumerate((one.before, one.after))
        if time is not None
    ]
    return f"{sentence}; it suits {listed(times)}." if times else f"{sentence}; it does not suit in the time looked at."


def _value(value: float | str | bool | None, unit: str, factor: str) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if factor == "calendar_day" and isinstance(value, float):
        # Days are counted as in a leap year.
        day = datetime.date(2000, 1, 1) + datetime.timedelta(days=round(value) - 1)
        return f"{day.day} {day:%B}"
    if isinstance(value, float):
        return _number(value, unit)
    return "unknown" if value is None else value.replace("_", " ")


def _number(value: float, unit: str) -> str:
    """Return a number as people say it, with its unit; what is less than can be said is no nothing."""
    decimals = _DECIMALS.get(unit, 2) if abs(value) < 100.0 else 0
    least = 10.0**-decimals
    said = f"under {least:g}" if 0.0 < value < least / 2.0 else f"{round(value, decimals) + 0.0:g}"
    return said if unit in ("", "1") else f"{said} {unit}"


def _day(zone: zoneinfo.ZoneInfo, time: np.datetime64) -> str:
    return day_and_clock(zone, int(time.astype(np.int64)))
