"""The tide of a record for the purpose of checking it: what its length resolves, and inferred what stands too near."""

from __future__ import annotations

import numpy as np

from tidecore.harmonics import Harmonics
from tidecore.harmonics.engine import rayleigh_choice
from tidecore.harmonics.least_squares import NormalEquations, basis, equations_of, real_columns
from tidecore.timebase import US_PER_DAY
from tidecore.units import FloatArray, IntArray

#: Constituents that beat with a near and stronger one over half a year or a year: unresolved, they look like a clock
#: that wanders. Ratio of equilibrium amplitudes (Cartwright and Tayler 1971, Geophys. J. R. astr. Soc. 23, as
#: corrected by Cartwright and Edden 1973), and the same phase lag.
INFERRED = {
    "P1": ("K1", 0.331),
    "K2": ("S2", 0.272),
    "T2": ("S2", 0.059),
    "NU2": ("N2", 0.190),
    "Q1": ("O1", 0.191),
}
_ROWS = 4096


def tide_of(times_us: IntArray, levels: FloatArray, latitude: float) -> Harmonics:
    """Return the tide of a record by least squares, with what is inferred among its constituents.

    Raises
    ------
    InvalidInput
        Where the record does not tell its constituents apart.
    """
    days = float(times_us[-1] - times_us[0]) / US_PER_DAY
    names, dropped = rayleigh_choice(days)
    inferred = tuple(name for name, (parent, _) in INFERRED.items() if name in dropped and parent in names)
    plain, left = _fitted(times_us, levels, latitude, names, ())
    if not inferred:
        return plain
    # Where the sea does not follow the equilibrium tide so far, what is inferred leaves more than it takes.
    fuller, less = _fitted(times_us, levels, latitude, names, inferred)
    return fuller if less <= left else plain


def _fitted(
    times_us: IntArray, levels: FloatArray, latitude: float, names: tuple[str, ...], inferred: tuple[str, ...]
) -> tuple[Harmonics, float]:
    """Return the tide, and the sum of squares that it leaves."""
    every = (*names, *inferred)
    whole: NormalEquations | None = None
    for begin in range(0, len(times_us), _ROWS):
        part = slice(begin, begin + _ROWS)
        columns = np.hstack((_columns(every, len(names), latitude, times_us[part]), np.ones((len(levels[part]), 1))))
        of = equations_of(columns, levels[part])
        whole = of if whole is None else whole + of
    assert whole is not None, "a record to be checked holds values"
    found = whole.solve()
    pairs = found[: 2 * len(names)].view(np.complex128)
    extra = [pairs[names.index(INFERRED[name][0])] * INFERRED[name][1] for name in inferred]
    amplitudes = np.concatenate((pairs, np.array(extra, dtype=np.complex128)))
    tide = Harmonics(
        names=every,
        amplitude=np.abs(amplitudes),
        phase=np.degrees(np.angle(amplitudes)) % 360.0,
        latitude=latitude,
        mean_level=float(found[-1]),
    )
    return tide, whole.residual_energy(found)


def _columns(names: tuple[str, ...], free: int, latitude: float, times_us: IntArray) -> FloatArray:
    """Return the real basis of the first ``free`` names, what is inferred from them added to them."""
    lines = basis(names, latitude, times_us)
    own = lines[:, :free].copy()
    for place in range(free, len(names)):
        parent, ratio = INFERRED[names[place]]
        own[:, names.index(parent)] += ratio * lines[:, place]
    return real_columns(own)
