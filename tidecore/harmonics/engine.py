"""The engine of fits: the one door to utide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tidecore.errors import UnknownName
from tidecore.harmonics.arguments import table_names
from tidecore.harmonics.inference import InferredLine
from tidecore.harmonics.synthesis import NODAL_OPTIONS, Harmonics
from tidecore.harmonics.tables import constituent_table
from tidecore.timebase import US_PER_DAY
from tidecore.units import FloatArray, IntArray

METHODS = ("ols", "robust")
# 1970-01-01 in days since 0000-12-31, utide's "python" epoch.
_ORDINAL_1970 = 719_163.0
#: Largest signal-to-noise ratio that is told, by power: less noise is rounding.
_NO_NOISE = 1e12
_NODAL = {"exact": True, "linear_time": "linear_time", "none": False}


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """What a fit found: the harmonics, trend, and signal-to-noise ratio by power of each constituent.

    ``snr`` is None where no intervals were asked for; ``trend_per_day`` [m a day] is None where none was fitted;
    ``reference_us`` is the instant at which the mean level holds and the node factors of "linear_time" are taken.
    """

    harmonics: Harmonics
    snr: FloatArray | None
    trend_per_day: float | None
    reference_us: int

    def strongest_first(self) -> Solution:
        """Return the same with its constituents in falling order of amplitude."""
        lines = self.harmonics
        order = np.argsort(-lines.amplitude, kind="stable")
        sorted_lines = replace(
            lines,
            names=tuple(lines.names[at] for at in order),
            amplitude=lines.amplitude[order],
            phase=lines.phase[order],
            node_powers=None if lines.node_powers is None else lines.node_powers[order],
        )
        return replace(self, harmonics=sorted_lines, snr=None if self.snr is None else self.snr[order])


def rayleigh_choice(days: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the constituents that a record of ``days`` resolves by Rayleigh's criterion, and those it doesn't.

    Each constituent is compared with its stronger neighbour, as stated in utide's table; what never has a
    neighbour stated (shallow-water lines seldom met) is in neither list.
    """
    table = constituent_table()
    least = 1.0 / (24.0 * days)
    offered = set(table_names())
    stated = [(n, df) for n, df in zip(table.names, table.resolution, strict=True) if n in offered and df > 0.0]
    return tuple(n for n, df in stated if df >= least), tuple(n for n, df in stated if df < least)


def solve(
    times_us: IntArray,
    levels: FloatArray,
    latitude: float,
    constituents: Sequence[str],
    nodal: str = "exact",
    trend: bool = False,
    method: str = "ols",
    intervals: bool = False,
    inferred: Sequence[InferredLine] = (),
) -> Solution:
    """Fit constituents to levels by ``utide.solve``, with Greenwich phase lags at exact times.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending instants [microseconds since 1970].
    levels : array, shape (n,)
        Valid levels [m].
    latitude : float
        [degrees north]
    constituents : sequence of str
        Names of convention "utide".
    nodal : {"exact", "linear_time", "none"}
    trend : bool
        Fit a linear trend beside the constituents.
    method : {"ols", "robust"}
    intervals : bool
        Also compute utide's linear confidence intervals, for the signal-to-noise ratio.
    inferred : sequence of InferredLine
        Lines held to reference lines inside the least squares; the references are among ``constituents``.

    Raises
    ------
    UnknownName
        For an option or a constituent that does not exist.
    """
    _check_options(nodal, method)
    import utide

    # An equator that is exactly zero has no sign to utide, and its node factors would divide by it.
    signed = latitude if latitude != 0.0 else 1e-9
    # Where nothing is left of the record, the intervals come to nothing over nothing.
    with np.errstate(divide="ignore", invalid="ignore"):
        coefficients = utide.solve(
            times_us / US_PER_DAY + _ORDINAL_1970,
            levels,
            lat=signed,
            epoch="python",
            constit=list(constituents),
            nodal=_NODAL[nodal],
            trend=trend,
            method=method,
            conf_int="linear" if intervals else "none",
            phase="Greenwich",
            order_constit="PE",
            verbose=False,
            infer=_inference(inferred),
        )
    reference_us = round((coefficients["aux"]["reftime"] - _ORDINAL_1970) * US_PER_DAY)
    harmonics = Harmonics(
        names=tuple(str(name) for name in coefficients["name"]),
        amplitude=coefficients["A"],
        phase=coefficients["g"],
        latitude=latitude,
        mean_level=float(coefficients["mean"]),
        nodal=nodal,
        nodal_at_us=reference_us if nodal == "linear_time" else None,
    )
    return Solution(
        harmonics=harmonics,
        snr=_ratios(coefficients["SNR"]) if intervals else None,
        trend_per_day=float(coefficients["slope"]) if trend else None,
        reference_us=reference_us,
    )


def _check_options(nodal: str, method: str) -> None:
    for kind, given, known in (("nodal option", nodal, NODAL_OPTIONS), ("method of fitting", method, METHODS)):
        if given not in known:
            raise UnknownName(kind, given, known)


def _ratios(of: FloatArray) -> FloatArray:
    """Return signal-to-noise ratios, finite where there is no noise at all."""
    found = np.asarray(of, dtype=np.float64)
    return np.where(np.isfinite(found), np.minimum(found, _NO_NOISE), _NO_NOISE)


def _inference(inferred: Sequence[InferredLine]) -> Any:
    """Return lines to infer as utide takes them; its approximate way breaks under numpy 2.4 and is not used."""
    if not inferred:
        return None
    from utide.utilities import Bunch

    return Bunch(
        inferred_names=[line.name for line in inferred],
        reference_names=[line.reference for line in inferred],
        amp_ratios=[line.amplitude_ratio for line in inferred],
        phase_offsets=[line.phase_offset_deg for line in inferred],
        approximate=False,
    )
