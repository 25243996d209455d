"""Factors of the sky: light, sun and moon as they stand over the mark."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from tidecore.timeline.factor import Factor, midway, pick
from tidecore.units import AnyArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.frames import Frames
    from tidecore.timeline.sources import Sources

_SKY = "positions of sun and moon over the mark"

LIGHTS = ("day", "civil_twilight", "nautical_twilight", "astronomical_twilight", "night")
#: Lowest altitude of the sun's centre in each light class but the last [degrees]: the upper limb with refraction at
#: the horizon, and the three twilights.
LIGHT_LIMITS = (-0.8333, -6.0, -12.0, -18.0)


def light(frame: Frame | Frames) -> AnyArray:
    """Return the light class at each instant."""
    limits = -np.array(LIGHT_LIMITS)
    return pick(LIGHTS, np.searchsorted(limits, -frame.sun_altitude, side="left"))


def moonlight(frame: Frame | Frames) -> FloatArray:
    """Return the lit part of the moon times the sine of its altitude, 0 while it is down."""
    altitude, lit = frame.moon_seen
    up = np.maximum(np.sin(np.radians(altitude)), 0.0)
    return lit * up


def _minutes(frame: Frame | Frames, event: str) -> FloatArray:
    return frame.minutes_from(event)


def _between(sources: Sources, event: str) -> IntArray:
    return midway(sources.sky_times_us(event))


def _minutes_from(event: str, called: str) -> Factor:
    return Factor(
        f"minutes_from_{event}",
        "sky",
        "min",
        "number",
        f"Time since the nearest {called}, negative before it; unknown where there is none within a day.",
        _SKY,
        partial(_minutes, event=event),
        partial(_between, event=event),
        together=partial(_minutes, event=event),
    )


def _number(name: str, unit: str, meaning: str) -> Factor:
    return Factor(name, "sky", unit, "number", meaning, _SKY, attrgetter(name))


FACTORS = (
    replace(
        _number("sun_altitude", "degree", "Altitude of the sun's centre, without refraction."),
        together=attrgetter("sun_altitude"),
    ),
    Factor(
        "light",
        "sky",
        "",
        "category",
        "Day while the sun's centre is above -0.8333 degrees, then civil, nautical and astronomical twilight down to "
        "-6, -12 and -18 degrees, then night.",
        _SKY,
        light,
        lambda sources: sources.sky_events.time.view(np.int64),
        categories=LIGHTS,
        together=light,
    ),
    _minutes_from("sunrise", "sunrise"),
    _minutes_from("sunset", "sunset"),
    _minutes_from("first_light", "first light (start of civil twilight)"),
    _minutes_from("last_light", "last light (end of civil twilight)"),
    _minutes_from("moonrise", "moonrise"),
    _minutes_from("moonset", "moonset"),
    _number("moon_altitude", "degree", "Altitude of the moon's centre, without refraction."),
    _number("illuminated_fraction", "1", "Part of the moon's disc that is lit."),
    Factor(
        "moonlight",
        "sky",
        "1",
        "number",
        "Lit part of the moon's disc times the sine of its altitude, 0 while it is down; clouds are left out.",
        f"{_SKY}; a convention",
        moonlight,
        together=moonlight,
    ),
)
