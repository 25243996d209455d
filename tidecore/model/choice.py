"""Which constituents a record supports: what predicts best the part of it that the fit has not seen.

Each of eight blocks is predicted from the others, by every candidate, with whatever the candidate leaves out found
from those others alone. Tidal lines are judged on levels without slow weather, since a storm says nothing of them;
lines as slow as weather are judged on what the tide leaves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tidecore.harmonics import arguments_of
from tidecore.harmonics.arguments import table_names
from tidecore.harmonics.engine import rayleigh_choice
from tidecore.harmonics.least_squares import NormalEquations, basis, equations_of, real_columns
from tidecore.model.node_powers import choose_node_powers
from tidecore.model.study import SLOW, Study, added, effective_days, offered_lines, study_of
from tidecore.model.weather import blocks_of, noise_beside
from tidecore.timebase import US_PER_HOUR
from tidecore.units import FloatArray, IntArray

#: Shorter records are fitted with what Rayleigh's criterion resolves [days].
LEAST_DAYS = 180.0
#: Longest median step of a record that shows the quick lines of shallow water [hours].
_LONGEST_STEP_HOURS = 1.5
#: Shorter steps are thinned to this for choosing; the fit takes every value [hours].
_THINNED_HOURS = 0.5
#: Least power of a line in units of what noise gives: nothing left out, then ever fewer lines. Noise alone passes
#: 3 once in twenty.
_LEAST_POWERS = (0.0, 1.5, 3.0, 5.0, 8.0)
#: From this length on node powers are tried: the node must have moved M2's f by some per cent [days].
_NODE_DAYS = 3.0 * 365.0
#: A season is told from the weather of one year after two of them [days].
_SEASON_DAYS = 700.0
#: Power of a slow line, in units of noise, below which a record too short to hold back a year does not show it.
_LEAST_SLOW_POWER = 5.0
#: The same for the year's own line, which every sea has: where leaving it out costs more than its error.
_LEAST_YEAR_POWER = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """The constituents chosen, powers of M2's node factor by name, noise [m2] by name, and the explanation."""

    names: tuple[str, ...]
    node_powers: Mapping[str, float]
    explanation: dict[str, Any]


def choose(
    times_us: IntArray, levels: FloatArray, latitude: float, nodal: str = "exact", composed: bool = True
) -> Choice:
    """Return the constituents that predict the record best out of sample; deterministic.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending instants [microseconds since 1970].
    levels : array, shape (n,)
        Valid levels [m].
    latitude : float
        [degrees north]
    nodal : {"exact", "linear_time", "none"}
        How the fit will treat node factors.
    composed : bool
        Whether compounds that utide lacks, and node powers, may be taken.
    """
    days = effective_days(times_us)
    rayleigh, _ = rayleigh_choice(max(days, 1e-3))
    reason = _too_little(times_us, days, 2 * len(rayleigh) + 1)
    if reason is not None:
        return Choice(rayleigh, {}, {"kind": "rayleigh", "why": reason, "lines": len(rayleigh)})
    thin = _thinned(times_us)
    times, values = times_us[thin], levels[thin]
    study = study_of(
        times,
        values,
        latitude,
        offered_lines(days, composed),
        nodal,
        nodal == "exact" and composed and days >= _NODE_DAYS,
    )
    lines, tried = _tidal(study, rayleigh)
    powers = choose_node_powers(study, lines)
    slow, seasons = _slow(times, study, latitude, nodal, days)
    names = (*slow, *(study.names[line] for line in lines))
    explanation = {
        "kind": "out_of_sample",
        "why": "least error over blocks of the record left out in turn",
        "blocks": len(study.blocks),
        "days": round(days, 2),
        "lines": len(names),
        "tidal": tried,
        "slow": seasons,
        "node_powers": powers.explanation,
    }
    return Choice(names, powers.by_name, explanation)


def _too_little(times_us: IntArray, days: float, unknowns: int) -> str | None:
    """Return why a record is fitted by Rayleigh's criterion alone, None if it need not be."""
    if days < LEAST_DAYS:
        return f"{days:.1f} days are too short to hold a part of them back; from {LEAST_DAYS:g} on it is tried"
    step = float(np.median(np.diff(times_us))) / US_PER_HOUR
    if step > _LONGEST_STEP_HOURS:
        return f"a value every {step:.2g} hours does not show quick lines; {_LONGEST_STEP_HOURS:g} hours would"
    if len(times_us) * step / 24.0 < 0.5 * days or len(times_us) < 16 * unknowns:
        return "over half of the record is missing"
    return None


def _thinned(times_us: IntArray) -> IntArray:
    """Return the rows to choose from: one in so many of a record denser than needed."""
    step = float(np.median(np.diff(times_us))) / US_PER_HOUR
    every = max(1, int(_THINNED_HOURS / step + 1e-6))
    return np.arange(0, len(times_us), every)


def _tidal(study: Study, rayleigh: tuple[str, ...]) -> tuple[IntArray, dict[str, Any]]:
    """Return the lines of the best candidate, and what was tried."""
    by_list = {
        "rayleigh": np.array([at for at, name in enumerate(study.names) if name in rayleigh]),
        "utide": np.array([at for at, name in enumerate(study.names) if name in table_names()]),
        "composed": np.arange(len(study.names)),
    }
    if len(by_list["composed"]) == len(by_list["utide"]):
        del by_list["composed"]
    tried: list[dict[str, Any]] = []
    best: tuple[float, IntArray, int] | None = None
    for kind, lines in by_list.items():
        errors = _errors(study, lines)
        for least, error in zip(_LEAST_POWERS, errors, strict=True):
            taken = study.pruned(study.whole, lines, least) if least else lines
            tried.append({"list": kind, "least_power": least, "lines": len(taken), "error_m": round(error, 6)})
            if best is None or error < best[0]:
                best = (error, taken, len(tried) - 1)
    assert best is not None
    return best[1], {"tried": tried, "taken": best[2]}


def _errors(study: Study, lines: IntArray) -> list[float]:
    """Return the error out of sample [m] of a list cut down to each of the least powers."""
    whole = study.whole
    squares = np.zeros(len(_LEAST_POWERS))
    for block in study.blocks:
        rest = whole - block
        for at, least in enumerate(_LEAST_POWERS):
            columns = study.columns(study.pruned(rest, lines, least) if least else lines)
            squares[at] += block.taking(columns).residual_energy(rest.taking(columns).solve())
    return [float(error) for error in np.sqrt(squares / whole.count)]


def _slow(
    times_us: IntArray, study: Study, latitude: float, nodal: str, days: float
) -> tuple[tuple[str, ...], dict[str, Any]]:
    """Return the slow lines to keep, and why.

    They are taken one by one, the strongest first. From two years on a line must make the blocks left out better by
    more than its gain varies from block to block; the year's own line must make them better at all. Before, a line
    stays if it stands out of the weather beside it, and from under a year none does that is slower than a month.
    """
    fitting = [name for name in rayleigh_choice(days)[0] if name in SLOW]
    fitting = [name for name in fitting if days >= 360.0 or name not in ("SA", "SSA")]
    if not fitting:
        return (), {"taken": [], "why": "too short to tell slow lines from weather", "tried": []}
    middle = (int(times_us[0]) + int(times_us[-1])) // 2
    columns = real_columns(basis(tuple(fitting), latitude, times_us, nodal, middle))
    columns = np.hstack((columns, np.ones((len(times_us), 1))))
    blocks = tuple(equations_of(columns[cut], study.slow_left[cut]) for cut in blocks_of(times_us, len(study.blocks)))
    found = added(blocks).solve()
    amplitude = np.sqrt((found[:-1].reshape(-1, 2) ** 2).sum(axis=1))
    noise = noise_beside(times_us, study.slow_left - columns @ found, arguments_of(tuple(fitting)).speeds)
    power = amplitude**2 / (4.0 * noise / len(times_us))
    kept: list[int] = []
    tried = []
    for line in np.argsort(-amplitude, kind="stable"):
        gains = _gains(blocks, kept, int(line))
        spread = float(np.std(gains, ddof=1) / np.sqrt(len(gains)))
        gain = float(np.mean(gains))
        if days >= _SEASON_DAYS:
            stays = gain > (0.0 if fitting[line] == "SA" else spread)
        else:
            stays = float(power[line]) >= (_LEAST_YEAR_POWER if fitting[line] == "SA" else _LEAST_SLOW_POWER)
        tried.append(
            {
                "name": fitting[line],
                "amplitude_m": round(float(amplitude[line]), 5),
                "power": round(float(power[line]), 3),
                "gain_m2": round(gain, 9),
                "gain_spread_m2": round(spread, 9),
                "taken": bool(stays),
            }
        )
        if stays:
            kept.append(int(line))
    by_power = f"power {_LEAST_SLOW_POWER:g} times that of noise or more, {_LEAST_YEAR_POWER:g} times for SA"
    why = "better out of sample" if days >= _SEASON_DAYS else by_power
    return tuple(fitting[line] for line in sorted(kept)), {
        "taken": [fitting[line] for line in sorted(kept)],
        "why": why,
        "tried": tried,
    }


def _gains(blocks: tuple[NormalEquations, ...], kept: list[int], line: int) -> FloatArray:
    """Return by how much each block left out is better for one more line [m2], shape ``(blocks,)``."""
    whole = added(blocks)
    constant = len(whole.right) - 1

    def error(block: NormalEquations, lines: list[int]) -> float:
        columns = np.array([column for at in lines for column in (2 * at, 2 * at + 1)] + [constant])
        return block.taking(columns).residual_energy((whole - block).taking(columns).solve()) / block.count

    return np.array([error(block, kept) - error(block, [*kept, line]) for block in blocks])
