"""The words of the screen that a mark now is told on, by its own clocks."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta

import numpy as np

from service.exports.now_screen import Screen
from service.usecases.now import NowView
from tidecore.safety import loosened_words
from tidecore.timeline import KeyTime
from tidecore.timeline.coming import ToldNow
from tidecore.timeline.peg_words import move_sentence, turn_back_sentence
from tidecore.timeline.wall_clock import shown_minute, weekday

_GRADES = {
    "danger": "Against being here: DANGER.",
    "caution": "Against being here: caution.",
    "not_assessed": "Against being here: NOT ASSESSED in full, which is no all-clear.",
    "info": "Nothing worse is known than what is told here; that is no all-clear.",
}
_DATUM_SHOWN = 30


def screen_of(view: NowView) -> Screen:
    """Return what the screen says of a mark at an instant."""
    mark, found = view.basis.outing.mark.document, view.coming
    told = [one for one in view.hazards.hazards if one.grade != "info"]
    kinds = dict.fromkeys(one.kind.replace("_", " ") for one in told if one.grade == "danger")
    return Screen(
        head=f"{_moment(mark.zone, found.time_us)}  {mark.name}",
        water=tuple(_water(view)),
        grade=_GRADES[view.hazards.grade],
        dangers=tuple(kinds),
        loosened=loosened_words(view.hazards.loosened),
        hazards=tuple(dict.fromkeys(one.text for one in told)),
        moves=tuple(_moves(view)),
        coming=found.sentences,
        unknown=tuple(f"Not known: {one}." for one in found.unknown),
    )


def _water(view: NowView) -> Iterator[str]:
    mark, values, zone = view.basis.outing.mark.document, view.coming.values, view.basis.outing.mark.document.zone
    datum = mark.datum_of(view.basis.outing.served.model.datum)
    shown = datum if len(datum) <= _DATUM_SHOWN else f"{datum[: _DATUM_SHOWN - 3]}..."
    height, rate = values["height"], values["rate"]
    if isinstance(height, float) and not view.coming.tidal:
        yield f"No tide to speak of: the level is {height:.2f} m above {shown}."
    elif isinstance(height, float) and isinstance(rate, float):
        way = "rising" if rate > 0.0 else "falling"
        phase = str(values["named_phase"] or "").replace("_", " ")
        phase += " by the level" if values["named_phase_basis"] == "level" else ""
        told = f"Tide {height:.2f} m above {shown}, {way} {abs(rate):.2f} m/h"
        yield f"{told}, {phase}." if phase else f"{told}."
    else:
        yield "Tide not known."
    surge = view.surge
    if surge.value_m is None:
        yield "Surge not assessed: the water may stand higher or lower than the tide."
    elif isinstance(height, float):
        yield f"Surge {surge.value_m:+.2f} m, so the water stands at {height + surge.value_m:.2f} m."
    strength, direction = values["flow_strength"], values["direction"]
    if isinstance(strength, float) and direction is not None:
        sure = "" if mark.flow_reliable else ", by the level: when the stream turns is not known"
        yield f"Stream: {direction}, {strength:.2f} of mean springs{sure}."
    nexts, now_us = view.coming.upcoming, view.coming.time_us
    waters = {"HW": nexts["high_water"], "LW": nexts["low_water"], "slack": nexts["slack"]}
    if view.coming.tidal:
        yield f"Next {_events(zone, now_us, waters)}."
    sky = {name.replace("_", " "): nexts[name] for name in ("sunrise", "sunset", "first_light", "last_light")}
    light = str(values["light"] or "light not known").replace("_", " ")
    yield f"{light.capitalize()}; {_events(zone, now_us, sky)}."
    yield _access(view, zone)
    yield _sea(view)


def _events(zone: zoneinfo.ZoneInfo, now_us: int, found: Mapping[str, KeyTime | None]) -> str:
    """Return events in the order in which they come, with the weekday before those of another day; then what none is.

    They are looked for more than a day ahead, so that a bare time could be that of tomorrow.
    """
    known = sorted((one.time, name, one) for name, one in found.items() if one is not None)
    told, day = [], shown_minute(zone, now_us)[:10]
    for time, name, one in known:
        shown = shown_minute(zone, int(time.astype("datetime64[us]").astype(np.int64)))
        on = "" if shown[:10] == day else f"on {weekday(shown)} "
        day = shown[:10]
        height = "" if one.height is None else f" {one.height:.2f} m"
        told.append(f"{on}{name} {shown[11:]}{height}")
    told += [f"{name} not known" if name == "slack" else f"no {name}" for name, one in found.items() if one is None]
    return ", ".join(told)


def _access(view: NowView, zone: zoneinfo.ZoneInfo) -> str:
    now, changes = view.coming.values["access_open"], view.coming.access_changes_us
    word = "not known" if now is None else "open" if now else "CLOSED"
    return f"Access {word}." if changes is None else f"Access {word} until {_moment(zone, changes)}."


def _sea(view: NowView) -> str:
    known = {one.name: one for one in view.coming.conditions}
    told = [
        _condition(known.get(name), called, unit)
        for called, name, unit in (
            ("sea", "wave_height_m", "m"),
            ("period", "wave_period_s", "s"),
            ("wind", "wind_speed_m_per_s", "m/s"),
            ("from", "wind_from_degree", "deg"),
        )
        if name in known or called in ("sea", "wind")
    ]
    ages = [one.age_h for one in known.values()]
    age = f"; oldest issued {max(ages):.0f} h ago" if ages else ""
    text = f"{', '.join(told)}{age}."
    return text[0].upper() + text[1:]


def _condition(one: ToldNow | None, called: str, unit: str) -> str:
    if one is None or not isinstance(one.value, float):
        return f"{called} not assessed"
    return f"{called} {one.value:.0f} {unit}" if unit == "deg" else f"{called} {one.value:.1f} {unit}"


def _moves(view: NowView) -> Iterator[str]:
    plan, zone = view.plan, view.basis.outing.mark.document.zone
    if plan is None:
        # Where it is worse than to be minded, it stands among the hazards.
        back = [one for one in view.hazards.hazards if one.kind == "cut_off"]
        if all(one.grade == "info" for one in back):
            yield from dict.fromkeys(one.text for one in back)
        return
    if plan.turn_back is not None:
        yield turn_back_sentence(plan.turn_back, zone, view.coming.time_us)
    else:
        yield "When to turn back is not assessed."
    stand, move = view.stands
    if stand is not None:
        yield f"Stand at {stand.move.distance_m:g} m along the profile, no further out."
    elif plan.missing:
        yield f"No peg is told: {'; '.join(plan.missing)}."
    else:
        yield "No peg is told for now."
    if move is not None:
        yield move_sentence(move, zone)


def _moment(zone: zoneinfo.ZoneInfo, time_us: int) -> str:
    moment = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=time_us)).astimezone(zone)
    return f"{moment:%Y-%m-%d %H:%M} {moment.tzname()}"
