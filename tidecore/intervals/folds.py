"""What a fit leaves of values that it did not see: blocked cross-validation over one record."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from tidecore.harmonics import Harmonics
from tidecore.harmonics.least_squares import NormalEquations, basis, equations_of, real_columns
from tidecore.timebase import US_PER_DAY, US_PER_HOUR
from tidecore.units import FloatArray, IntArray

#: Parts of a record, each predicted from the others.
FOLDS = 4
#: More rows than this are thinned before they are fitted: neighbouring values say the same.
_MOST_ROWS = 40_000
#: Rows of the basis held at once.
_ROWS = 4096
#: Prior variance of a coefficient over that of the noise, for sets that one part alone held apart.
_PRIOR = 1e4


@dataclass(frozen=True, slots=True, eq=False)
class Fold:
    """One part of a record and the tide as the other parts have it."""

    times_us: IntArray
    levels: FloatArray
    harmonics: Harmonics
    residual: FloatArray
    every: int

    @property
    def thinned(self) -> slice:
        """The rows that stand for all in statistics: about hourly."""
        return slice(None, None, self.every)


def leave_out(times_us: IntArray, levels: FloatArray, tide: Harmonics, folds: int = FOLDS) -> list[Fold]:
    """Return each part of a record with what the fit of the other parts leaves of it.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending instants [microseconds since 1970].
    levels : array, shape (n,)
        [m]
    tide : Harmonics
        The fit of the whole: each part's has its constituents and node factors, and amplitudes, phases and a mean level
        of its own.
    folds : int
        Parts, each of as many values as another: a record in pieces years apart is cut as one without gaps.
    """
    places = np.linspace(0, len(times_us), folds + 1).astype(np.int64).tolist()
    stride = max(1, -(-len(times_us) // _MOST_ROWS))
    parts = [slice(a, b) for a, b in itertools.pairwise(places) if b > a]
    equations = [_equations(times_us[part][::stride], levels[part][::stride], tide) for part in parts]
    whole = equations[0]
    for one in equations[1:]:
        whole = whole + one
    ridge = np.full(len(whole.right), 1.0 / _PRIOR)
    ridge[-1] = 0.0
    out = []
    for part, own in zip(parts, equations, strict=True):
        rest = whole - own
        if rest.count < 1:
            continue
        found = rest.solve(ridge=ridge)
        pairs = found[:-1].view(np.complex128)
        harmonics = replace(
            tide, amplitude=np.abs(pairs), phase=np.degrees(np.angle(pairs)) % 360.0, mean_level=float(found[-1])
        )
        times = times_us[part]
        residual = levels[part] - harmonics.heights(times.view("datetime64[us]"))
        out.append(Fold(times, levels[part], harmonics, residual, _every(times)))
    return out


def _every(times_us: IntArray) -> int:
    step = float(np.median(np.diff(times_us))) if len(times_us) > 1 else float(US_PER_HOUR)
    return max(1, round(US_PER_HOUR / step))


def observed_days(times_us: IntArray) -> float:
    """Return on how many UTC days there are values."""
    return float(len(np.unique(times_us // US_PER_DAY)))


def _equations(times_us: IntArray, levels: FloatArray, tide: Harmonics) -> NormalEquations:
    out: NormalEquations | None = None
    for begin in range(0, len(times_us), _ROWS):
        some = times_us[begin : begin + _ROWS]
        lines = basis(tide.names, tide.latitude, some, tide.nodal, tide.nodal_at_us, tide.node_powers)
        columns = np.hstack((real_columns(lines), np.ones((len(some), 1))))
        one = equations_of(columns, levels[begin : begin + _ROWS])
        out = one if out is None else out + one
    assert out is not None  # parts without values were left out
    return out
