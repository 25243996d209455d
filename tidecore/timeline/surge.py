"""The surge at a mark: as whoever asks gives it or, where he gives none, that of the pressure of the air."""

from __future__ import annotations

import numpy as np

from tidecore.intervals import inverse_barometer
from tidecore.timebase import US_PER_MINUTE, TimeSpan
from tidecore.timeline.sources import Sources
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


def pressure_surge(sources: Sources, times_us: IntArray | FloatArray) -> FloatArray:
    """Return what the pressure of the air lifts the sea at instants [m], NaN where it is unknown.

    By the inverse barometer; high pressure is no less water.
    """
    if sources.conditions is None:
        return np.full(times_us.shape, np.nan)
    pressure = sources.conditions.at("pressure_hpa", np.rint(times_us).astype(np.int64))
    return np.maximum(inverse_barometer(pressure), 0.0)


def surge_at(sources: Sources, times_us: IntArray | FloatArray, given_m: float | None) -> FloatArray:
    """Return the surge at instants [m]: as it is given, else that of the pressure; 0 where neither is known."""
    if given_m is not None:
        return np.full(times_us.shape, given_m)
    return np.nan_to_num(pressure_surge(sources, times_us))


def surge_unsure(sources: Sources, span: TimeSpan, given_m: float | None) -> tuple[str, ...]:
    """Return what is not in the surge over a span, in words; nothing where a surge is given."""
    if given_m is not None:
        return ()
    known = ~np.isnan(pressure_surge(sources, np.arange(span.start_us, span.end_us, _STEP_US, dtype=np.int64)))
    if not known.any():
        return (SURGE_UNKNOWN,)
    return (WIND_NOT_IN_SURGE,) if known.all() else (SURGE_PARTLY_KNOWN, WIND_NOT_IN_SURGE)
