"""Surge: what the weather adds to the tide, as the caller gives it, or as the pressure of the air makes it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.errors import Fault, InvalidInput
from tidecore.timebase import US_PER_HOUR
from tidecore.units import FloatArray, IntArray

#: Rise of the sea for each hectopascal that the pressure is below its reference: the inverse barometer [m/hPa].
METRES_PER_HPA = 0.01
#: Mean pressure of the standard atmosphere [hPa].
STANDARD_PRESSURE_HPA = 1013.25
#: Nothing outside these was ever measured at sea level [hPa], [m].
_PRESSURES_HPA = (850.0, 1090.0)
_MOST_SURGE_M = 15.0

#: A surge or pressure is not told between values further apart [microseconds].
_LONGEST_GAP_US = 6 * US_PER_HOUR

REFERENCE_CAUTION = (
    "the pressure is taken against 1013.25 hPa, not the mean pressure of the place and month: the seasonal mean may be "
    "counted twice"
)
WEATHER_CAUTION = (
    "the interval is as wide as without the surge, since nothing is known of how sure the surge is; give its standard "
    "deviation to have the weather's part replaced by it"
)


@dataclass(frozen=True, slots=True, eq=False)
class Surge:
    """Surge [m] at each time asked for, and what must be known of it."""

    values: FloatArray
    cautions: tuple[str, ...]


def inverse_barometer(
    pressure_hpa: FloatArray, reference_hpa: float | FloatArray = STANDARD_PRESSURE_HPA
) -> FloatArray:
    """Return how far the pressure of the air lifts the sea [m], negative where it presses it down.

    Examples
    --------
    >>> inverse_barometer(np.array([983.25, 1023.25])).round(2).tolist()
    [0.3, -0.1]
    """
    lifted: FloatArray = METRES_PER_HPA * (reference_hpa - pressure_hpa)
    return lifted


def surge_of(
    surge_m: float | FloatArray | None = None,
    pressure_hpa: float | FloatArray | None = None,
    reference_pressure_hpa: float | FloatArray | None = None,
) -> Surge | None:
    """Return the surge that is given, and that of the pressure wherever none is; None where neither is.

    A given surge replaces that of the pressure at the same time: the two are never added.

    Parameters
    ----------
    surge_m : float or array, optional
        Surge [m]; NaN where none is known.
    pressure_hpa : float or array, optional
        Pressure of the air at sea level [hPa]; NaN where none is known.
    reference_pressure_hpa : float or array, optional
        Mean pressure of the place and month [hPa]. Without it the standard 1013.25 is taken, and said so.

    Raises
    ------
    InvalidInput
        For what was never measured, a reference without a pressure, shapes that do not go together.
    """
    given = _checked("surge_m", surge_m, (-_MOST_SURGE_M, _MOST_SURGE_M), "m")
    pressure = _checked("pressure_hpa", pressure_hpa, _PRESSURES_HPA, "hPa")
    reference = _checked("reference_pressure_hpa", reference_pressure_hpa, _PRESSURES_HPA, "hPa")
    if reference is not None and pressure is None:
        raise InvalidInput(Fault("reference_pressure_hpa", "given without a pressure", "pressure_hpa beside it"))
    if pressure is None:
        return None if given is None else Surge(np.where(np.isnan(given), 0.0, given), ())
    against = np.array(STANDARD_PRESSURE_HPA) if reference is None else reference
    try:
        barometric = inverse_barometer(pressure, against)
        values = barometric if given is None else np.where(np.isnan(given), barometric, given)
    except ValueError as error:
        raise InvalidInput(Fault("pressure_hpa", "series of different lengths", "one value for every time")) from error
    used = np.isnan(given) if given is not None else np.ones(values.shape, dtype=np.bool_)
    cautions = (REFERENCE_CAUTION,) if reference is None and bool(np.any(used)) else ()
    return Surge(np.where(np.isnan(values), 0.0, values), cautions)


def series_at(times_us: IntArray, known_us: IntArray, values: FloatArray) -> FloatArray:
    """Return a series at other times, linear between its values.

    Parameters
    ----------
    times_us, known_us : int64 arrays [microseconds since 1970 UTC]
        The times asked for, and those of ``values``, ascending.
    values : array
        NaN where unknown.

    Returns
    -------
    float array
        Of the shape of ``times_us``: NaN before, after, beside an unknown value and in gaps of over six hours.
    """
    if not known_us.size:
        return np.full(times_us.shape, np.nan)
    after = np.searchsorted(known_us, times_us, side="left")
    at = np.minimum(after, known_us.size - 1)
    before = np.maximum(after - 1, 0)
    exact = known_us[at] == times_us
    span = known_us[at] - known_us[before]
    part = (times_us - known_us[before]) / np.maximum(span, 1)
    between = values[before] + part * (values[at] - values[before])
    inside = (after > 0) & (after < known_us.size) & (span <= _LONGEST_GAP_US)
    return np.where(exact, values[at], np.where(inside, between, np.nan))


def _checked(field: str, value: float | FloatArray | None, bounds: tuple[float, float], unit: str) -> FloatArray | None:
    if value is None:
        return None
    found = np.asarray(value, dtype=np.float64)
    known = found[~np.isnan(found)]
    if np.any((known < bounds[0]) | (known > bounds[1])):
        expected = f"{bounds[0]:g} to {bounds[1]:g} {unit}"
        raise InvalidInput(Fault(field, "a value that was never measured", expected))
    return found


def check_surge_sd(surge_sd: float | None, surge_given: bool = True) -> float | None:
    """Return the standard deviation of a surge [m]; InvalidInput where it is none, or no surge is given with it."""
    if surge_sd is None:
        return None
    if not 0.0 <= surge_sd <= _MOST_SURGE_M:
        raise InvalidInput(Fault("surge_sd_m", f"{surge_sd} is no standard deviation", f"0 to {_MOST_SURGE_M:g} m"))
    if not surge_given:
        raise InvalidInput(Fault("surge_sd_m", "given without a surge", "surge_m or pressure_hpa beside it"))
    return surge_sd
