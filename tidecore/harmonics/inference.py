"""Inference: lines that a short record cannot separate, held to a reference line that it can.

An inferred line keeps a fixed ratio of amplitude and a fixed difference of phase to its reference line, both taken from
elsewhere; only the reference is solved for, with the pair of them in the least squares.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.errors import Fault, InvalidInput
from tidecore.harmonics.arguments import arguments_of, constituent_names
from tidecore.harmonics.synthesis import Harmonics
from tidecore.harmonics.tables import constituent_table

#: Largest ratio of amplitudes that can be given: a line is inferred from a stronger one, save for rare cases.
_LARGEST_RATIO = 10.0
#: A reference line is at least so many times as large as the line inferred from it.
_STRONGER = 2.0
#: Names of other conventions, and lines that may have another argument there.
_RENAMED = {"LAM2": "LDA2", "LAMBDA2": "LDA2", "RHO": "RHO1"}
_OTHER_ARGUMENT = frozenset({"SA", "S1", "M1", "L2"})


@dataclass(frozen=True, slots=True)
class InferredLine:
    """A line ``name`` held to its ``reference``.

    Parameters
    ----------
    name, reference : str
        Names of convention "utide".
    amplitude_ratio : float
        Amplitude of ``name`` over that of ``reference``.
    phase_offset_deg : float
        Greenwich phase lag of ``reference`` minus that of ``name`` [degrees].
    """

    name: str
    reference: str
    amplitude_ratio: float
    phase_offset_deg: float


def given_lines(given: Mapping[str, Sequence[object]]) -> tuple[InferredLine, ...]:
    """Return the lines of ``{name: (reference, amplitude ratio, phase offset [degrees])}``, checked.

    Raises
    ------
    InvalidInput
        With every fault: a line inferred from itself or from an inferred one, a ratio or offset that is no number.
    UnknownName
        For a name that is no constituent.
    """
    lines, faults = [], []
    for name, of in given.items():
        field = f"infer.{name}"
        if len(of) != 3 or not isinstance(of[0], str):
            expected = "(reference, amplitude ratio, phase lag of the reference minus that of the line in degrees)"
            faults.append(Fault(field, f"is {of!r}", expected))
            continue
        reference, ratio, offset = of[0], _number(of[1]), _number(of[2])
        if reference == name or reference in given:
            faults.append(Fault(field, f"is inferred from {reference}, which is inferred itself", "a fitted line"))
        if not 0.0 < ratio <= _LARGEST_RATIO:
            faults.append(Fault(f"{field}.amplitude_ratio", f"is {of[1]!r}", f"over 0 to {_LARGEST_RATIO:g}"))
        if not np.isfinite(offset):
            faults.append(Fault(f"{field}.phase_offset_deg", f"is {of[2]!r}", "finite degrees"))
        lines.append(InferredLine(name, reference, ratio, offset))
    if faults:
        raise InvalidInput(faults)
    arguments_of(tuple(line.name for line in lines) + tuple(line.reference for line in lines))
    return tuple(lines)


def lines_from(elsewhere: Harmonics, fitted: Sequence[str], wanted: Iterable[str]) -> tuple[InferredLine, ...]:
    """Return which of ``wanted`` can be held to lines that are ``fitted``, with ratios and offsets of ``elsewhere``.

    Only diurnal and semidiurnal lines of the equilibrium tide are: the ratios of compounds and overtides belong to one
    harbour. The reference is the nearest in frequency of the fitted lines of the same species that are at least twice
    as large elsewhere.
    """
    table, there = constituent_table(), lines_of(elsewhere)
    row = table.index()
    speeds = dict(zip(there, arguments_of(tuple(there)).speeds, strict=True))
    lines = []
    for name in wanted:
        amplitude, phase = there.get(name, (0.0, 0.0))
        species = table.doodson[row[name], 0]
        if amplitude == 0.0 or species not in (1.0, 2.0) or table.parents[row[name]]:
            continue
        stronger = [
            one
            for one in fitted
            if one in there and table.doodson[row[one], 0] == species and there[one][0] >= _STRONGER * amplitude
        ]
        if stronger:
            reference = min(stronger, key=lambda one: (abs(speeds[one] - speeds[name]), one))
            size, lag = there[reference]
            lines.append(InferredLine(name, reference, amplitude / size, (lag - phase + 180.0) % 360.0 - 180.0))
    return tuple(lines)


def lines_of(elsewhere: Harmonics) -> dict[str, tuple[float, float]]:
    """Return (amplitude [m], phase lag [degrees]) by name of convention "utide".

    From another convention only lines with the same argument there are taken, by the name they have here.
    """
    values = zip(elsewhere.names, elsewhere.amplitude, elsewhere.phase, strict=True)
    if elsewhere.convention == "utide":
        return {name: (float(amplitude), float(phase)) for name, amplitude, phase in values}
    known = set(constituent_names())
    named = [(_RENAMED.get(name, name), amplitude, phase) for name, amplitude, phase in values]
    return {n: (float(a), float(g)) for n, a, g in named if n in known and n not in _OTHER_ARGUMENT}


def _number(value: object) -> float:
    """Return a number, NaN for anything else."""
    return float(value) if isinstance(value, int | float | np.number) and not isinstance(value, bool) else np.nan
