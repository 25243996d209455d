"""The surge at a mark: as whoever asks gives it or, where he gives none, that of the pressure of the air."""

from __future__ import annotations

import numpy as np

from tidecore.conditions import Conditions
from tidecore.intervals import inverse_barometer
from tidecore.timebase import US_PER_MINUTE, TimeSpan
from tidecore.units import FloatArray, IntArray

SURGE_UNKNOWN = (
    "surge not assessed: all of this rests on the tide alone; a surge brings the water further up, and sooner"
)
SURGE_PARTLY_KNOWN = (
    "surge not assessed for a part of the time: the pressure of the air is not known in all of it, and the tide alone "
    "counts there; a surge brings the water further up, and sooner"
)
WIND_NOT_IN_SURGE = "surge by the pressure of the air alone: what the wind adds is not in it"
_STEP_US = 5 * US_PER_MINUTE


def pressure_surge(conditions: Conditions | None, times_us: IntArray | FloatArray) -> FloatArray:
    """Return what the pressure of the air lifts the sea at instants [m], NaN where it is unknown.

    By the inverse barometer; high pressure is no less water.
    """
    if conditions is None:
        return np.full(times_us.shape, np.nan)
    pressure = conditions.at("pressure_hpa", np.rint(times_us).astype(np.int64))
    return np.maximum(inverse_barometer(pressure), 0.0)


def surge_at(conditions: Conditions | None, times_us: IntArray | FloatArray, given_m: float | None) -> FloatArray:
    """Return the surge at instants [m]: as it is given, else that of the pressure; 0 where neither is known."""
    if given_m is not None:
        return np.full(times_us.shape, given_m)
    lifted = pressure_surge(conditions, times_us)
    return np.where(np.isnan(lifted), 0.0, lifted)


def surge_unsure(conditions: Conditions | None, span: TimeSpan, given_m: float | None) -> tuple[str, ...]:
    """Return what is not in the surge over a span, in words; nothing where a surge is given."""
    if given_m is not None:
        return ()
    known = ~np.isnan(pressure_surge(conditions, np.arange(span.start_us, span.end_us, _STEP_US, dtype=np.int64)))
    if not known.any():
        return (SURGE_UNKNOWN,)
    return (WIND_NOT_IN_SURGE,) if known.all() else (SURGE_PARTLY_KNOWN, WIND_NOT_IN_SURGE)
