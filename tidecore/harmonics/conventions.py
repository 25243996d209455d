"""Conventions of constituents: which names there are, with which arguments and node factors they go, and for how long.

| convention | argument of SA | node factors | taken | names |
| --- | --- | --- | --- | --- |
| ``utide`` | h - p' | utide's satellites | at each instant | utide's |
| ``noaa`` | h | Schureman's formulae | at mid-year, held for a UTC year | NOAA's 37 |
| ``ticon`` | h | utide's satellites | at each instant | those of the TICON-4 data set |

What the same name means differs: SA and S1 are other lines in each, M1 and L2 have other node factors in "noaa".
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from tidecore.errors import UnknownName
from tidecore.harmonics.arguments import Arguments, ComplexArray, arguments_of, speeds_of
from tidecore.harmonics.arguments import constituent_names as utide_names
from tidecore.harmonics.schureman import NOAA_NAMES, schureman_arguments, year_factors, year_of, year_start_us

#: Conventions of constituents that can be computed.
CONVENTIONS = ("utide", "noaa", "ticon")
#: TICON-4's name -> utide's, where argument and node factors are the same.
_TICON_SAME = {
    **{name: name for name in (
        "M2", "N2", "S2", "K2", "2N2", "K1", "P1", "O1", "Q1", "M4", "MM", "MF", "SSA", "T2", "J1", "L2", "R2", "2Q1",
        "MSF", "M3", "MU2", "NU2", "MN4", "MS4", "MKS2", "N4", "M6", "M8", "S4", "OO1", "RHO1", "2SM2", "2MS6",
    )},
    "EP2": "EPS2",
    "LAMBDA2": "LDA2",
}  # fmt: skip
#: TICON-4's name -> utide's with its node factors; its argument as multiples of (tau, s, h, p, N', p') and cycles.
_TICON_FACTORED = {
    "M1": ("NO1", (1, 0, 0, 1, 0, 0), 0.0),
    "SGM": ("SIG1", (1, -3, 2, 0, 0, 0), 0.25),
    "2MK5": ("2MK5", (5, 1, 0, 0, 0, 0), 0.0),
    "2MO5": ("2MO5", (5, -1, 0, 0, 0, 0), 0.0),
}
#: The same without node factors.
_TICON_PLAIN = {
    "SA": ((0, 0, 1, 0, 0, 0), 0.0),
    "S1": ((1, 1, -1, 0, 0, 0), 0.5),
    "S3": ((3, 3, -3, 0, 0, 0), 0.5),
    "R3": ((3, 3, -2, 0, 0, 0), 0.0),
    "T3": ((3, 3, -4, 0, 0, 0), 0.0),
    "MA2": ((2, 0, -1, 0, 0, 0), 0.0),
    "MB2": ((2, 0, 1, 0, 0, 0), 0.0),
    "MTM": ((0, 3, 0, -1, 0, 0), 0.0),
    "MSQM": ((0, 4, -2, 0, 0, 0), 0.0),
    "3L2": ((2, 1, 0, 0, 0, 0), -0.25),
    "3N2": ((2, -1, 0, 0, 0, 0), 0.25),
}
_TICON_NAMES = (*_TICON_SAME, *_TICON_FACTORED, *_TICON_PLAIN)
#: A constituent that utide gives no satellites stands in for one without node factors.
_BARE = "SSA"


#: What each convention is.
MEANINGS = {
    "utide": "argument of SA is h - p'; utide's satellites at each instant",
    "noaa": "argument of SA is h; Schureman's node factors of 2 July, held for each UTC year",
    "ticon": "argument of SA is h; utide's satellites at each instant; names of TICON-4",
}


@dataclass(frozen=True, slots=True)
class ConstituentArgument:
    """What a ``name`` means: V = multiples of (tau, s, h, p, N', p') plus a constant.

    ``multiples`` has six numbers, ``constant`` is in degrees from 0 to 360, ``speed`` in degrees an hour. Two names,
    of one convention or of two, are one line where both agree; node factors may differ all the same.
    """

    name: str
    multiples: tuple[float, ...]
    constant: float
    speed: float


@dataclass(frozen=True, slots=True)
class Era:
    """A span ``[start_us, end_us)`` in which node factors are held at ``factors`` (1, k), or follow the instant."""

    start_us: int
    end_us: int
    factors: ComplexArray | None


def check_convention(convention: str) -> None:
    """Raise `UnknownName` for a convention that is not known."""
    if convention not in CONVENTIONS:
        raise UnknownName("convention of constituents", convention, CONVENTIONS)


def constituent_names(convention: str = "utide") -> tuple[str, ...]:
    """Return every name of a convention that makes a tide; raises `UnknownName` for an unknown convention."""
    check_convention(convention)
    return {"utide": utide_names(), "noaa": NOAA_NAMES, "ticon": _TICON_NAMES}[convention]


def lines_of(convention: str, names: tuple[str, ...]) -> Arguments:
    """Return the `Arguments` of ``names`` in a convention.

    Raises
    ------
    UnknownName
        For a convention, or a name, that is not known; the names known are on it.
    """
    check_convention(convention)
    if convention == "noaa":
        return schureman_arguments(names)
    return arguments_of(names) if convention == "utide" else _ticon_arguments(names)


def argument_table(convention: str) -> tuple[ConstituentArgument, ...]:
    """Return names and arguments of a convention; raises `UnknownName` for an unknown convention."""
    names = constituent_names(convention)
    lines = lines_of(convention, names)
    return tuple(
        ConstituentArgument(name, tuple(row), float(360.0 * semi % 360.0), float(np.degrees(speed)))
        for name, row, semi, speed in zip(names, lines.doodson.tolist(), lines.semi, lines.speeds, strict=True)
    )


def held_by_year(convention: str) -> bool:
    """Return whether the node factors of a convention are held for a year, so that heights step at 1 January."""
    return convention == "noaa"


def yearly_eras(names: tuple[str, ...], start_us: int, end_us: int) -> list[Era]:
    """Return the UTC years that meet ``[start_us, end_us]``, with the factors of convention "noaa" in each."""
    years = range(year_of(start_us), year_of(end_us) + 1)
    return [Era(year_start_us(year), year_start_us(year + 1), year_factors(names, year)[None]) for year in years]


@lru_cache(maxsize=256)
def _ticon_arguments(names: tuple[str, ...]) -> Arguments:
    """Return V and node factors of TICON-4's names.

    Notes
    -----
    The data set does not state its arguments. These were found by fitting the same names to gauge records and
    comparing phase lags (`tests/reference/test_conventions_ticon.py`): SA is counted from h and S1 from the mean sun's
    transit, both without node factors; M1, SGM, 2MK5 and 2MO5 lack the constants of utide's; MA2 and MB2 (utide's H1
    and H2), T3 and R3 are counted from h, without node factors. 3L2 and 3N2 are the lines of the third degree between
    L2 and N2, not triples of them; their constants are known to some 30 degrees, their amplitudes are millimetres.
    """
    for name in names:
        if name not in _TICON_NAMES:
            raise UnknownName("constituent of convention 'ticon'", name, _TICON_NAMES)
    of_utide = arguments_of(tuple(_ticon_factors_of(name) for name in names))
    doodson, semi = of_utide.doodson.copy(), of_utide.semi.copy()
    for place, name in enumerate(names):
        if name in _TICON_SAME:
            continue
        doodson[place], semi[place] = _TICON_FACTORED[name][1:] if name in _TICON_FACTORED else _TICON_PLAIN[name]
    return replace(of_utide, names=names, doodson=doodson, semi=semi, speeds=speeds_of(doodson))


def _ticon_factors_of(name: str) -> str:
    """Return the constituent of utide's that the node factors of one of TICON-4's are taken from."""
    if name in _TICON_FACTORED:
        return _TICON_FACTORED[name][0]
    return _TICON_SAME.get(name, _BARE)
