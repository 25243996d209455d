"""A mark at one instant, and what the hours after it bring: values, events, conditions with their age, in words."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from tidecore.conditions import VARIABLES
from tidecore.conditions.basis import CALLED
from tidecore.shore.turning_back import USUAL, Allowances
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, TimeSpan, from_microseconds
from tidecore.timeline.called import factor_words
from tidecore.timeline.columns import Timeline
from tidecore.timeline.events import KeyTime
from tidecore.timeline.peg_plans import minutes_left
from tidecore.timeline.peg_words import clock
from tidecore.timeline.registry import find_factor
from tidecore.units import AnyArray, FloatArray

Value = float | str | bool | None

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
    ``access_changes_us`` when access opens or closes next, or becomes known or unknown. ``sentences`` say by the
    clocks of the mark what comes, ``unknown`` what is not known, and why.
    """

    time_us: int
    until_us: int
    values: Mapping[str, Value]
    conditions: tuple[ToldNow, ...]
    upcoming: Mapping[str, KeyTime | None]
    access_changes_us: int | None
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
    breaks = timeline.breaks_us(("access_open",))
    later = breaks[breaks > time_us]
    changes = int(later[0]) if later.size else None
    conditions = _conditions(timeline, span)
    return Coming(
        time_us,
        until_us,
        values,
        conditions,
        upcoming,
        changes,
        tuple(_sentences(timeline, span, events, values, changes)),
        _unknown(timeline, values, conditions),
    )


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
    timeline: Timeline, span: TimeSpan, events: tuple[KeyTime, ...], values: Mapping[str, Value], changes: int | None
) -> Iterator[str]:
    zone = timeline.mark.zone
    times = np.append(np.arange(span.start_us, span.end_us, _STEP_US, dtype=np.int64), span.end_us)
    inside = [one for one in events if one.time < span.end]
    columns = timeline.at(times, ("height", "flow_index", "waterline"))
    if not np.isnan(columns["height"]).any():
        yield _of_tide(zone, span, inside, columns["height"])
        yield _of_stream(timeline, zone, times, inside, values, columns["flow_index"])
    edge = columns["waterline"]
    if not np.isnan(edge[[0, -1]]).any() and abs(edge[-1] - edge[0]) >= 1.0:
        way = "goes out" if edge[-1] > edge[0] else "comes in"
        yield f"The edge of the water {way} {abs(edge[-1] - edge[0]):.0f} m by {clock(zone, span.end_us)}."
    yield _of_light(zone, inside, values["light"])
    yield from _of_sea_and_air(timeline, zone, times)
    if changes is not None and changes < span.end_us:
        after = timeline.at(np.array([changes]), ("access_open",))["access_open"][0]
        word = {1: "opens", 0: "closes"}.get(int(after), "is not known from then on")
        yield f"Access {word} at {clock(zone, changes)}."


def _of_tide(zone: zoneinfo.ZoneInfo, span: TimeSpan, events: list[KeyTime], height: FloatArray) -> str:
    turns = [one for one in events if one.kind in ("high_water", "low_water")]
    end = clock(zone, span.end_us)
    if not turns:
        way = "rises" if height[-1] > height[0] else "falls"
        return f"The tide {way} from {height[0]:.2f} m now to {height[-1]:.2f} m at {end}."
    told = [
        f"{'rises to high' if one.kind == 'high_water' else 'falls to low'} water {one.height:.2f} m at "
        f"{clock(zone, _ticks(one.time))}"
        for one in turns
    ]
    return f"The tide {', then '.join(told)}; {height[-1]:.2f} m at {end}."


def _of_stream(
    timeline: Timeline,
    zone: zoneinfo.ZoneInfo,
    times: AnyArray,
    events: list[KeyTime],
    values: Mapping[str, Value],
    index: FloatArray,
) -> str:
    """Return what the stream does in the order of time; its index is asked for at ``times``."""
    if np.isnan(index).any():
        return "How the stream runs is not known."
    k = int(np.argmax(np.abs(index)))
    most, how = f"strongest {'now' if k == 0 else f'about {clock(zone, int(times[k]))}'}", f"{abs(index[k]):.2f}"
    if not timeline.flow_reliable:
        return f"By the level alone the stream is {most} ({how} of mean springs); when it turns is not known."
    slacks = [_ticks(one.time) for one in events if one.kind.startswith("slack")]
    way = "flood" if index[k] > 0.0 else "ebb"
    told = [(at, f"slack at {clock(zone, at)}") for at in slacks]
    told.append((int(times[k]), f"{most} ({way}, {how} of mean springs)"))
    words = ", ".join(text for _, text in sorted(told))
    return (
        f"The stream: {values['direction'] or 'not known'} now, {words}{'' if slacks else ', no slack in this time'}."
    )


def _of_light(zone: zoneinfo.ZoneInfo, events: list[KeyTime], light: Value) -> str:
    told = [f"{_SKY_WORDS[one.kind]} {clock(zone, _ticks(one.time))}" for one in events if one.kind in _SKY_WORDS]
    if told:
        return f"Light: {', '.join(told)}."
    return "Daylight all the time." if light == "day" else "Dark all the time." if light == "night" else "Twilight."


def _of_sea_and_air(timeline: Timeline, zone: zoneinfo.ZoneInfo, times: AnyArray) -> Iterator[str]:
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
        text += "" if known[0] == 0 else f" from {clock(zone, int(times[known[0]]))}"
        if column[k] - column[known[0]] > _STEADY[name]:
            text += f", up to {column[k]:.1f} at {clock(zone, int(times[k]))}"
        elif column[known[0]] - column[last] > _STEADY[name]:
            text += f", down to {column[last]:.1f} at {clock(zone, int(times[last]))}"
        else:
            text += ", steady"
        if known.size < times.size and last < times.size - 1:
            text += f"; not assessed after {clock(zone, int(times[last]))}"
        yield f"{text}."


def _ticks(time: np.datetime64) -> int:
    return int(time.astype("datetime64[us]").astype(np.int64))
