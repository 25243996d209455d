"""Mean longitudes of moon and sun, the clock hands of the tide."""

from __future__ import annotations

import numpy as np

from tidecore.timebase import US_PER_DAY
from tidecore.units import AnyArray, FloatArray

# Degrees, degrees a day, degrees a (10,000 days) squared and cubed, from 1899-12-31 12:00: the mean longitudes
# of the moon s, the sun h, the lunar perigee p, minus the ascending node N', and the perihelion p'.
_LONGITUDES = np.array(
    [
        [270.434164, 13.1763965268, -0.0000850, 0.000000039],
        [279.696678, 0.9856473354, 0.00002267, 0.000000000],
        [334.329556, 0.1114040803, -0.0007739, -0.00000026],
        [-259.183275, 0.0529539222, -0.0001557, -0.000000050],
        [281.220844, 0.0000470684, 0.0000339, 0.000000070],
    ]
)
# 1899-12-31T12:00 before 1970-01-01T00:00 [days].
_EPOCH_DAYS = 25567.5


def longitudes(times_us: AnyArray) -> FloatArray:
    """Return (tau, s, h, p, N', p') [cycles], whole turns taken off, shape ``(6, n)``.

    ``tau`` is mean lunar time. Each lies between -3 and 3; only its fraction has a meaning.

    Parameters
    ----------
    times_us : array, shape (n,)
        Instants [microseconds since 1970-01-01T00:00Z].

    Notes
    -----
    UTC stands for both UT and TT, as in the tidal programs of the 1970s onwards; the difference shifts the
    moon by under 0.01 degree. The first constant of p' is 281.220844 as printed in the Explanatory Supplement;
    Foreman (1977) prints 281.220833.

    References
    ----------
    Explanatory Supplement to the Astronomical Ephemeris, 1961, pages 98 and 107.
    """
    turns = np.fmod(_turns(times_us), 1.0)
    of_day = np.mod(times_us, US_PER_DAY) / US_PER_DAY
    return np.vstack((of_day + turns[1] - turns[0], turns))


def lunar_time(times_us: AnyArray) -> FloatArray:
    """Return mean lunar time tau [cycles] with its whole lunar days since 1970 (and a constant), shape ``(n,)``."""
    turns = _turns(times_us)
    lunar: FloatArray = np.asarray(times_us, dtype=np.float64) / US_PER_DAY + turns[1] - turns[0]
    return lunar


def _turns(times_us: AnyArray) -> FloatArray:
    """Return (s, h, p, N', p') [cycles] with their whole turns, shape ``(5, n)``."""
    since = np.asarray(times_us, dtype=np.float64) / US_PER_DAY + _EPOCH_DAYS
    scaled = since / 10_000.0
    turns: FloatArray = _LONGITUDES @ np.stack((np.ones_like(since), since, scaled * scaled, scaled**3)) / 360.0
    return turns


def longitude_rates(time_us: float) -> FloatArray:
    """Return the rates of (tau, s, h, p, N', p') [cycles per day], shape ``(6,)``."""
    scaled = (time_us / US_PER_DAY + _EPOCH_DAYS) / 10_000.0
    rates = _LONGITUDES @ np.array([0.0, 1.0, 2.0e-4 * scaled, 3.0e-4 * scaled * scaled]) / 360.0
    return np.concatenate(([1.0 + rates[1] - rates[0]], rates))
