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
    """Return (tau, s, h, p, N', p') [cycles], not reduced, shape ``(6, n)``.

    ``tau`` is mean lunar time: it counts the lunar days since 1970 plus a constant, so that differences of
    arguments over years keep their whole cycles.

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
    days = np.asarray(times_us, dtype=np.float64) / US_PER_DAY
    since = days + _EPOCH_DAYS
    scaled = since / 10_000.0
    powers = np.stack((np.ones_like(since), since, scaled * scaled, scaled * scaled * scaled))
    turns = _LONGITUDES @ powers / 360.0
    return np.vstack((days + turns[1] - turns[0], turns))


def longitude_rates(time_us: float) -> FloatArray:
    """Return the rates of (tau, s, h, p, N', p') [cycles per day], shape ``(6,)``."""
    scaled = (time_us / US_PER_DAY + _EPOCH_DAYS) / 10_000.0
    rates = _LONGITUDES @ np.array([0.0, 1.0, 2.0e-4 * scaled, 3.0e-4 * scaled * scaled]) / 360.0
    return np.concatenate(([1.0 + rates[1] - rates[0]], rates))
