"""How far a shallow gauge follows the node cycle: powers of M2's node factor, found from the record.

Friction grows with the square of the stream, so where M2 is strong its amplitude answers the 18.6-year swing of its
own f by less than f, and other constituents give way while M2 is large. Both are a power of M2's f by which a
constituent is multiplied besides its own factor. Phases are left alone: a tide that comes later by a nodal angle
meets the same friction later by that angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tidecore.harmonics.least_squares import NormalEquations
from tidecore.model.study import Study
from tidecore.units import FloatArray, IntArray

#: Standard deviation of a power before the record has spoken: it stays near 0 where the record shows nothing.
PRIOR = 0.5
#: Amplitudes and powers multiply: solved in turn this often, which leaves a thousandth of a power.
_ROUNDS = 3


@dataclass(frozen=True, slots=True, eq=False)
class NodePowers:
    """Powers by name, empty where they do not help, and why as plain JSON values."""

    by_name: dict[str, float]
    explanation: dict[str, Any]


def choose_node_powers(study: Study, lines: IntArray) -> NodePowers:
    """Return the powers of the strongest of ``lines`` if they make the blocks left out better."""
    moved = np.array([line for line in study.node_lines if line in lines], dtype=np.int64)
    if not len(moved):
        why = "the record is too short, or no line strong enough, to show how far it follows the node cycle"
        return NodePowers({}, {"taken": False, "why": why})
    whole = study.whole
    errors = np.zeros(2)
    for block in study.blocks:
        rest = whole - block
        columns = study.columns(lines)
        errors[0] += block.taking(columns).residual_energy(rest.taking(columns).solve())
        to, found, _ = _solved(study, rest, lines, moved)
        errors[1] += _through(block, to).residual_energy(found)
    plain, damped = (float(error) for error in np.sqrt(errors / whole.count))
    _, _, powers = _solved(study, whole, lines, moved)
    by_name = {study.names[line]: round(float(power), 4) for line, power in zip(moved, powers, strict=True)}
    taken = damped < plain
    explanation = {
        "taken": taken,
        "why": "better out of sample" if taken else "no better out of sample",
        "error_without_m": round(plain, 6),
        "error_with_m": round(damped, 6),
        "powers": by_name,
        "prior_standard_deviation": PRIOR,
    }
    return NodePowers(by_name if taken else {}, explanation)


def _solved(
    study: Study, equations: NormalEquations, lines: IntArray, moved: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the matrix to the unknowns from the study's columns, the unknowns, and the powers among them."""
    columns = study.columns(lines)
    found = equations.taking(columns).solve()
    places = [int(np.flatnonzero(lines == line)[0]) for line in moved]
    swung = [2 * len(study.names) + 1 + 2 * int(np.flatnonzero(study.node_lines == line)[0]) for line in moved]
    to = np.zeros((len(equations.right), len(columns) + len(moved)))
    to[columns, np.arange(len(columns))] = 1.0
    ridge = np.zeros(to.shape[1])
    ridge[len(columns) :] = study.noise[moved] / PRIOR**2
    for _ in range(_ROUNDS):
        for at, (place, column) in enumerate(zip(places, swung, strict=True)):
            to[column : column + 2, len(columns) + at] = found[2 * place : 2 * place + 2]
        found = _through(equations, to).solve(ridge=ridge)
    return to, found, found[len(columns) :]


def _through(equations: NormalEquations, to: FloatArray) -> NormalEquations:
    """Return the equations of unknowns of which the columns of ``to`` say what they are in the old ones."""
    return NormalEquations(to.T @ equations.gram @ to, to.T @ equations.right, equations.energy, equations.count)
