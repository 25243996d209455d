"""Arguments and node factors of NOAA's 37 constituents by Schureman's formulae, held for a calendar year.

Node factors f and their angles u follow from the inclination I of the moon's orbit to the equator and from where the
two cross. They are taken at the middle of each UTC year, 2 July 12:00, and held from its first instant to its last.

References
----------
Schureman, P. (1940, revised 1958), Manual of harmonic analysis and prediction of tides, Special Publication 98, US
Coast and Geodetic Survey: table 2 and equations 65 to 78, 197 to 235 (formulae from memory, confirmed against NOAA's
own hourly predictions, `tests/reference/test_conventions_noaa.py`).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tidecore.errors import UnknownName
from tidecore.harmonics.arguments import Arguments, ComplexArray, speeds_of
from tidecore.harmonics.astronomy import longitudes
from tidecore.units import FloatArray, IntArray

#: Obliquity of the ecliptic and inclination of the moon's orbit to it [degrees], Schureman's of 1900.
_OBLIQUITY, _INCLINATION = np.radians(23.452), np.radians(5.145)

# Name -> multiples of (T, s, h, p, p') with T the angle of the day from midnight, a constant [degrees], node factor.
_SIMPLE: dict[str, tuple[tuple[int, int, int, int, int], float, str]] = {
    "M2": ((2, -2, 2, 0, 0), 0.0, "M2"),
    "S2": ((2, 0, 0, 0, 0), 0.0, ""),
    "N2": ((2, -3, 2, 1, 0), 0.0, "M2"),
    "K1": ((1, 0, 1, 0, 0), 90.0, "K1"),
    "O1": ((1, -2, 1, 0, 0), -90.0, "O1"),
    "NU2": ((2, -3, 4, -1, 0), 0.0, "M2"),
    "MU2": ((2, -4, 4, 0, 0), 0.0, "M2"),
    "2N2": ((2, -4, 2, 2, 0), 0.0, "M2"),
    "OO1": ((1, 2, 1, 0, 0), 90.0, "OO1"),
    "LAM2": ((2, -1, 0, 1, 0), 180.0, "M2"),
    "S1": ((1, 0, 0, 0, 0), 180.0, ""),
    "M1": ((1, -1, 1, 1, 0), 90.0, "M1"),
    "J1": ((1, 1, 1, -1, 0), 90.0, "J1"),
    "MM": ((0, 1, 0, -1, 0), 0.0, "MM"),
    "SSA": ((0, 0, 2, 0, 0), 0.0, ""),
    "SA": ((0, 0, 1, 0, 0), 0.0, ""),
    "MSF": ((0, 2, -2, 0, 0), 0.0, "MSF"),
    "MF": ((0, 2, 0, 0, 0), 0.0, "MF"),
    "RHO": ((1, -3, 3, -1, 0), -90.0, "O1"),
    "Q1": ((1, -3, 1, 1, 0), -90.0, "O1"),
    "T2": ((2, 0, -1, 0, 1), 0.0, ""),
    "R2": ((2, 0, 1, 0, -1), 180.0, ""),
    "2Q1": ((1, -4, 1, 2, 0), -90.0, "O1"),
    "P1": ((1, 0, -1, 0, 0), -90.0, ""),
    "M3": ((3, -3, 3, 0, 0), 180.0, "M3"),
    "L2": ((2, -1, 2, -1, 0), 180.0, "L2"),
    "K2": ((2, 0, 2, 0, 0), 0.0, "K2"),
}
# Name -> the constituents it is made of, each with its multiple; negative ones are subtracted.
_COMPOUND: dict[str, dict[str, int]] = {
    "M4": {"M2": 2},
    "M6": {"M2": 3},
    "MK3": {"M2": 1, "K1": 1},
    "S4": {"S2": 2},
    "MN4": {"M2": 1, "N2": 1},
    "S6": {"S2": 3},
    "2SM2": {"S2": 2, "M2": -1},
    "2MK3": {"M2": 2, "K1": -1},
    "M8": {"M2": 4},
    "MS4": {"M2": 1, "S2": 1},
}
#: NOAA's names, in NOAA's order.
NOAA_NAMES = (
    "M2", "S2", "N2", "K1", "M4", "O1", "M6", "MK3", "S4", "MN4", "NU2", "S6", "MU2", "2N2", "OO1", "LAM2", "S1", "M1",
    "J1", "MM", "SSA", "SA", "MSF", "MF", "RHO", "Q1", "T2", "R2", "2Q1", "P1", "2SM2", "M3", "L2", "2MK3", "K2", "M8",
    "MS4",
)  # fmt: skip


@lru_cache(maxsize=256)
def schureman_arguments(names: tuple[str, ...]) -> Arguments:
    """Return V and speeds of ``names``; node factors come from `year_factors`.

    Raises
    ------
    UnknownName
        For a name that is not one of NOAA's 37.
    """
    for name in names:
        if name not in NOAA_NAMES:
            raise UnknownName("constituent of convention 'noaa'", name, NOAA_NAMES)
    rows = [_argument(name) for name in names]
    doodson = np.array([row[:6] for row in rows])
    return Arguments(
        names=names,
        doodson=doodson,
        semi=np.array([row[6] / 360.0 for row in rows]),
        speeds=speeds_of(doodson),
        _rows=np.empty(0, dtype=np.int64),
        _powers=(),
    )


@lru_cache(maxsize=4096)
def year_factors(names: tuple[str, ...], year: int) -> ComplexArray:
    """Return f exp(i u) of ``names`` for a UTC ``year``, shape ``(k,)``; not to be written to.

    Notes
    -----
    NOAA counts u of M1, in which the moon's perigee goes round every 8.85 years, at mid-year too, but advances M1 from
    1 January by its mean speed, perigee included: so does this. Of M1 open predictions confirm the first day of a
    year alone; its amplitude is a few millimetres.
    """
    parts = _factors_at_mid_year(year)
    out = np.array([_factor(name, parts) for name in names])
    out.flags.writeable = False
    return out


def _argument(name: str) -> FloatArray:
    """Return multiples of (tau, s, h, p, N', p') and the constant [degrees] of one name, shape ``(7,)``."""
    if name in _COMPOUND:
        total: FloatArray = sum((power * _argument(part) for part, power in _COMPOUND[name].items()), np.zeros(7))
        return total
    (day, s, h, p, perihelion), constant, _ = _SIMPLE[name]
    # The angle of the day is tau + s - h.
    return np.array([day, s + day, h - day, p, 0, perihelion, constant], dtype=np.float64)


def _factor(name: str, parts: dict[str, complex]) -> complex:
    if name in _COMPOUND:
        product = 1.0 + 0.0j
        for part, power in _COMPOUND[name].items():
            of_part = _factor(part, parts)
            product *= (of_part if power > 0 else of_part.conjugate()) ** abs(power)
        return product
    of = _SIMPLE[name][2]
    return parts[of] if of else 1.0 + 0.0j


@lru_cache(maxsize=512)
def _factors_at_mid_year(year: int) -> dict[str, complex]:
    """Return f exp(i u) of everything that has a formula of its own."""
    first, middle = _instants(year)
    at_first, at_middle = np.radians(360.0 * longitudes(np.array([first, middle]))[3:5]).T
    perigee, node = float(at_middle[0]), -float(at_middle[1])
    incline, nu, xi = _crossing(node)
    sine, double, half = np.sin(incline), np.sin(2.0 * incline), np.cos(0.5 * incline)
    tangent = np.tan(0.5 * incline) ** 2
    nu_k1 = np.arctan2(double * np.sin(nu), double * np.cos(nu) + 0.3347)
    nu_k2 = np.arctan2(sine**2 * np.sin(2.0 * nu), sine**2 * np.cos(2.0 * nu) + 0.0727)
    # From the crossing of moon's orbit and equator to the perigee.
    to_perigee = perigee - xi
    far, near = np.sin(2.0 * to_perigee), np.cos(2.0 * to_perigee)
    of_l2 = np.sqrt(1.0 - 12.0 * tangent * near + 36.0 * tangent**2)
    r = np.arctan2(far, 1.0 / (6.0 * tangent) - near)
    slant = np.cos(incline) / half**2
    of_m1 = np.sqrt(0.25 + 1.5 * slant * near + 2.25 * slant**2)
    q = np.arctan2(
        (5.0 * np.cos(incline) - 1.0) * np.sin(to_perigee), (7.0 * np.cos(incline) + 1.0) * np.cos(to_perigee)
    )
    m2, o1 = half**4 / 0.91544, sine * half**2 / 0.37988
    magnitude_and_angle = {
        "M2": (m2, 2.0 * (xi - nu)),
        "MSF": (m2, 2.0 * (nu - xi)),
        "M3": (m2**1.5, 3.0 * (xi - nu)),
        "L2": (m2 * of_l2, 2.0 * (xi - nu) - r),
        "O1": (o1, 2.0 * xi - nu),
        # V holds the perigee of the instant: what it was on 1 January is taken off again.
        "M1": (o1 * of_m1, xi - nu + q - float(at_first[0])),
        "J1": (double / 0.72137, -nu),
        "OO1": (sine * np.sin(0.5 * incline) ** 2 / 0.01640, -2.0 * xi - nu),
        "K1": (np.sqrt(0.8965 * double**2 + 0.6001 * double * np.cos(nu) + 0.1006), -nu_k1),
        "K2": (np.sqrt(19.0444 * sine**4 + 2.7702 * sine**2 * np.cos(2.0 * nu) + 0.0981), -nu_k2),
        "MM": ((2.0 / 3.0 - sine**2) / 0.50214, 0.0),
        "MF": (sine**2 / 0.15782, -2.0 * xi),
    }
    return {name: complex(f * np.exp(1j * u)) for name, (f, u) in magnitude_and_angle.items()}


def _crossing(node: float) -> tuple[float, float, float]:
    """Return I, nu and xi [radians] for the longitude of the moon's ascending ``node`` [radians]."""
    incline = np.arccos(
        np.cos(_OBLIQUITY) * np.cos(_INCLINATION) - np.sin(_OBLIQUITY) * np.sin(_INCLINATION) * np.cos(node)
    )
    wrapped = np.mod(node + np.pi, 2.0 * np.pi) - np.pi
    difference, total = 0.5 * (_OBLIQUITY - _INCLINATION), 0.5 * (_OBLIQUITY + _INCLINATION)
    half_node = np.tan(0.5 * wrapped)
    one = np.arctan(np.cos(difference) / np.cos(total) * half_node)
    other = np.arctan(np.sin(difference) / np.sin(total) * half_node)
    return float(incline), float(one - other), float(wrapped - one - other)


def _instants(year: int) -> tuple[int, int]:
    """Return the first instant and 2 July 12:00 of a UTC year [microseconds since 1970]."""
    start, middle = np.datetime64(f"{year:04d}-01-01", "us"), np.datetime64(f"{year:04d}-07-02T12", "us")
    return int(start.astype(np.int64)), int(middle.astype(np.int64))


def year_of(time_us: int) -> int:
    """Return the UTC year of an instant [microseconds since 1970]."""
    return int(years_of(np.array([time_us]))[0])


def years_of(times_us: IntArray) -> IntArray:
    """Return the UTC years of instants [microseconds since 1970]."""
    years: IntArray = times_us.view("datetime64[us]").astype("datetime64[Y]").astype(np.int64) + 1970
    return years


def year_start_us(year: int) -> int:
    """Return the first instant of a UTC year [microseconds since 1970]."""
    return _instants(year)[0]
