"""A mark at one instant, and what the hours after it bring: values, events, conditions with their age, in words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from tidecore.conditions import VARIABLES
from tidecore.conditions.basis import CALLED
from tidecore.shore.turning_back import USUAL, Allowances
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, TimeSpan, from_microseconds
from tidecore.timeline.called import factor_words
from tidecore.timeline.columns import Timeline
from tidecore.timeline.events import KeyTime
from tidecore.timeline.peg_plans import minutes_left
from tidecore.timeline.registry import find_factor
from tidecore.timeline.wall_clock import shown_from
from tidecore.units import AnyArray, FloatArray, IntArray

Value = float | str | bool | None
#: What the clocks of the mark show at an instant.
_Shown = Callable[[int], str]

#: What is told of the instant: factors by name.
VALUES = (
    "height",
    "rate",
    "flow_index",
    "flow_strength",
    "stream_speed",
    "direction",
    "named_phase",
    "named_phase_basis",
    "hours_from_hw",
    "days_from_springs",
    "making",
    "light",
    "sun_altitude",
    "moonlight",
    "access_open",
    "waterline",
    "water_behind",
    "run_up",
    "dry_margin",
    "minutes_to_turn_back",
    "holding",
    "fishable",
)
#: Factors whose absence is named, with why.
_NAMED = ("access_open", "waterline", "run_up", "dry_margin", "minutes_to_turn_back", "holding", "fishable")
#: The next of each of these is told; slack of either kind counts as slack.
NEXT = ("high_water", "low_water", "slack", "sunrise", "sunset", "first_light", "last_light")
#: Events are looked for so far ahead [h].
AHEAD_H = 30
#: What changes less than this is steady: the sea [m], the wind [m/s].
_STEADY = {"wave_height_m": 0.2, "wind_speed_m_per_s": 2.0}
_SKY_WORDS = {"sunrise": "sunrise", "sunset": "sunset", "first_light": "first light", "last_light": "last light"}
_STEP_US = 10 * US_PER_MINUTE
#: What access does, by its value before and from then on.
_ACCESS_WORDS = {
    (0, 1): "opens at",
    (1, 0): "closes at",
    (-1, 1): "is known to be open from",
    (-1, 0): "is known to be closed from",
    (1, -1): "is not known from",
    (0, -1): "is not known from",
}


@dataclass(frozen=True, slots=True)
class ToldNow:
    """A variable of sea and air at the instant: its value, and which issue it is from, issued ``age_h`` before."""

    name: str
    value: float | str
    unit: str
    kind: str
    source: str
    issued_at: np.datetime64
    age_h: float


@dataclass(frozen=True, slots=True)
class Coming:
    """A mark at an instant, and what comes until ``until_us`` [microseconds since 1970].

    ``values`` are factors at the instant, None where unknown; ``conditions`` what is known of sea and air;
    ``upcoming`` the next event of each kind of `NEXT`, None where none comes in `AHEAD_H` hours or nobody knows;
    ``access_changes_us`` when access opens or closes next, or becomes known or unknown. ``tidal`` is false where there
    is no tide to speak of until then. ``sentences`` say by the clocks of the mark what comes, ``unknown`` what is not
    known, and why.
    """

    time_us: int
    until_us: int
    values: Mapping[str, Value]
    conditions: tuple[ToldNow, ...]
    upcoming: Mapping[str, KeyTime | None]
    access_changes_us: int | None
    tidal: bool
    sentences: tuple[str, ...]
    unknown: tuple[str, ...]


def coming(
    timeline: Timeline, time_us: int, until_us: int, surge_m: float | None = None, allowances: Allowances = USUAL
) -> Coming:
    """Return a mark at an instant and what comes after it.

    Parameters
    ----------
    timeline : Timeline
        Of the mark, over the instant and half a day after ``until_us``.
    time_us, until_us : int
        The instant, and how far ahead is told [microseconds since 1970].
    surge_m : float, optional
        Surge that the minutes until turning back are told with [m]; that of the pressure unless given, as in
        `tidecore.timeline.peg_plans.turning_back`.
    allowances : Allowances
        What these minutes allow for.

    Raises
    ------
    InvalidSpan
        If that leaves the timeline, or runs backwards.
    """
    span = TimeSpan(*from_microseconds(np.array([time_us, until_us], dtype=np.int64)))
    found = timeline.at(np.array([time_us]), VALUES)
    values = {name: _plain(name, column) for name, column in found.items()}
    left = minutes_left(timeline.sources, time_us, surge_m, allowances)
    values["minutes_to_turn_back"] = None if np.isnan(left) else left
    start, end = from_microseconds(np.array([time_us, time_us + AHEAD_H * US_PER_HOUR], dtype=np.int64))
    events = timeline.events(start, end)
    upcoming = {name: _next(events, name) for name in NEXT}
    changes = _access_changes(timeline, time_us)
    conditions = _conditions(timeline, span)
    times = np.append(np.arange(span.start_us, span.end_us, _STEP_US, dtype=np.int64), span.end_us)
    tidal = not np.isnan(timeline.at(times, ("hours_from_hw",))["hours_from_hw"]).all()
    return Coming(
        time_us,
        until_us,
        values,
        conditions,
        upcoming,
        changes[0][0] if changes else None,
        tidal,
        tuple(_sentences(timeline, times, events, values, changes, tidal)),
        _unknown(timeline, values, conditions),
    )


def _access_changes(timeline: Timeline, time_us: int) -> list[tuple[int, str]]:
    """Return when access changes after an instant, and what it does then.

    Calendar and forecast have many joints at which it stays as it is: midnight, or an hour of the forecast.
    """
    breaks = timeline.breaks_us(("access_open",))
    times = np.concatenate(([time_us], breaks[breaks > time_us]))
    state = timeline.at(times, ("access_open",))["access_open"].tolist()
    return [
        (int(times[k]), _ACCESS_WORDS[state[k - 1], state[k]]) for k in range(1, len(state)) if state[k] != state[k - 1]
    ]


def _plain(name: str, column: AnyArray) -> Value:
    factor = find_factor(name)
    if not factor.known(column)[0]:
        return None
    if factor.kind == "number":
        return float(column[0])
    return bool(column[0]) if factor.kind == "boolean" else str(column[0])


def _next(events: tuple[KeyTime, ...], name: str) -> KeyTime | None:
    return next((one for one in events if one.kind == name or (name == "slack" and one.kind.startswith("slack"))), None)


def _conditions(timeline: Timeline, span: TimeSpan) -> tuple[ToldNow, ...]:
    conditions = timeline.sources.conditions
    if conditions is None:
        return ()
    found = []
    at = np.array([span.start_us], dtype=np.int64)
    for variable in VARIABLES:
        column = conditions.at(variable.name, at)
        known = column[0] != "" if variable.kind == "category" else not np.isnan(column[0])
        uses = conditions.basis(variable.name, span).uses
        if not known or not uses:
            continue
        issue = uses[0].issue
        value = str(column[0]) if variable.kind == "category" else float(column[0])
        issued = np.datetime64(issue.issued_at.replace(tzinfo=None), "us")
        found.append(ToldNow(variable.name, value, variable.unit, issue.kind, issue.source, issued, uses[0].age_h))
    return tuple(found)


def _unknown(timeline: Timeline, values: Mapping[str, Value], conditions: tuple[ToldNow, ...]) -> tuple[str, ...]:
    found = []
    if not timeline.flow_reliable:
        found.append("slack: when the stream turns here is not known; its run is told by the level")
    known = {one.name for one in conditions}
    missing = [one.name for one in VARIABLES if one.kind != "category" and one.name not in known]
    if len(missing) == len([one for one in VARIABLES if one.kind != "category"]):
        found.append("sea and air: no forecast or observation tells anything of this instant")
    elif missing:
        found.append(f"sea and air: nothing tells {', '.join(dict.fromkeys(CALLED[name] for name in missing))}")
    # One cause of several is told once, with all of them.
    causes: dict[str, list[str]] = {}
    for name in _NAMED:
        if values[name] is None:
            why = find_factor(name).why_unknown
            causes.setdefault("" if why is None else f": {why(timeline.sources)}", []).append(factor_words(name))
    found += [f"{', '.join(called)}{why}" for why, called in causes.items()]
    return tuple(found)


def _sentences(
    timeline: Timeline,
    times: IntArray,
    events: tuple[KeyTime, ...],
    values: Mapping[str, Value],
    changes: list[tuple[int, str]],
    tidal: bool,
) -> Iterator[str]:
    start_us, end_us = int(times[0]), int(times[-1])
    shown = partial(shown_from, timeline.mark.zone, start_us)
    inside = [one for one in events if _ticks(one.time) < end_us]
    columns = timeline.at(times, ("height", "flow_index", "waterline"))
    height = columns["height"]
    if not np.isnan(height).any():
        if tidal:
            yield _of_tide(timeline, shown, times, height)
        else:
            level = f"the level is {height[0]:.2f} m now and {height[-1]:.2f} m at {shown(end_us)}"
            yield f"No tide to speak of: {level}."
        yield _of_stream(timeline, shown, times, inside, values, columns["flow_index"])
    edge = columns["waterline"]
    if not np.isnan(edge[[0, -1]]).any() and abs(edge[-1] - edge[0]) >= 1.0:
        way = "goes out" if edge[-1] > edge[0] else "comes in"
        yield f"The edge of the water {way} {abs(edge[-1] - edge[0]):.0f} m by {shown(end_us)}."
    yield _of_light(shown, inside, values["light"])
    yield from _of_sea_and_air(timeline, shown, times)
    told = [f"{words} {shown(at)}" for at, words in changes if at < end_us]
    if told:
        yield f"Access {', then '.join(told)}."


def _of_tide(timeline: Timeline, shown: _Shown, times: IntArray, height: FloatArray) -> str:
    """Return how the tide rises and falls: to every turn, for at a double water it turns between the primary ones."""
    waters = timeline.sources.extremes
    turns = waters.times_us()
    told, end = [], f"{height[-1]:.2f} m at {shown(int(times[-1]))}"
    rises = bool(height[-1] > height[0])
    for k in np.flatnonzero((turns > times[0]) & (turns < times[-1])).tolist():
        high = waters.kind[k] == "high"
        named = f"{waters.kind[k]} water " if waters.primary[k] else ""
        told.append(f"{'rises' if high else 'falls'} to {named}{waters.height[k]:.2f} m at {shown(int(turns[k]))}")
        rises = not high
    way = "rises" if rises else "falls"
    if not told:
        return f"The tide {way} from {height[0]:.2f} m now to {end}."
    return f"The tide {', then '.join(told)}, then {way} to {end}."


def _of_stream(
    timeline: Timeline,
    shown: _Shown,
    times: IntArray,
    events: list[KeyTime],
    values: Mapping[str, Value],
    index: FloatArray,
) -> str:
    """Return what the stream does in the order of time; its index is asked for at ``times``."""
    if np.isnan(index).any():
        return "How the stream runs is not known."
    k = int(np.argmax(np.abs(index)))
    most, how = f"strongest {'now' if k == 0 else f'about {shown(int(times[k]))}'}", f"{abs(index[k]):.2f}"
    if not timeline.flow_reliable:
        return f"By the level alone the stream is {most} ({how} of mean springs); when it turns is not known."
    slacks = [_ticks(one.time) for one in events if one.kind.startswith("slack")]
    way = "flood" if index[k] > 0.0 else "ebb"
    told = [(at, f"slack at {shown(at)}") for at in slacks]
    told.append((int(times[k]), f"{most} ({way}, {how} of mean springs)"))
    words = ", ".join(text for _, text in sorted(told))
    return (
        f"The stream: {values['direction'] or 'not known'} now, {words}{'' if slacks else ', no slack in this time'}."
    )


def _of_light(shown: _Shown, events: list[KeyTime], light: Value) -> str:
    told = [f"{_SKY_WORDS[one.kind]} {shown(_ticks(one.time))}" for one in events if one.kind in _SKY_WORDS]
    if told:
        return f"Light: {', '.join(told)}."
    return "Daylight all the time." if light == "day" else "Dark all the time." if light == "night" else "Twilight."


def _of_sea_and_air(timeline: Timeline, shown: _Shown, times: IntArray) -> Iterator[str]:
    conditions = timeline.sources.conditions
    for name, called, unit in (("wave_height_m", "Sea", "m"), ("wind_speed_m_per_s", "Wind", "m/s")):
        column = np.full(times.size, np.nan) if conditions is None else conditions.at(name, times)
        known = np.flatnonzero(~np.isnan(column))
        if not known.size:
            yield f"{called} not assessed: nothing tells of it in this time."
            continue
        k = int(known[np.argmax(column[known])])
        last = int(known[-1])
        text = f"{called} {column[known[0]]:.1f} {unit}"
        text += "" if known[0] == 0 else f" from {shown(int(times[known[0]]))}"
        if column[k] - column[known[0]] > _STEADY[name]:
            text += f", up to {column[k]:.1f} at {shown(int(times[k]))}"
        elif column[known[0]] - column[last] > _STEADY[name]:
            text += f", down to {column[last]:.1f} at {shown(int(times[last]))}"
        else:
            text += ", steady"
        if known.size < times.size and last < times.size - 1:
            text += f"; not assessed after {shown(int(times[last]))}"
        yield f"{text}."


def _ticks(time: np.datetime64) -> int:
    return int(time.astype("datetime64[us]").astype(np.int64))
