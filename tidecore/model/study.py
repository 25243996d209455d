"""A record prepared for choosing: normal equations of blocks, slow weather taken off, noise beside every line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.harmonics import arguments_of, expansion
from tidecore.harmonics.arguments import table_names
from tidecore.harmonics.compounds import compounds
from tidecore.harmonics.engine import rayleigh_choice
from tidecore.harmonics.least_squares import NormalEquations, basis, equations_of, real_columns
from tidecore.model.weather import blocks_of, noise_beside, slow_part
from tidecore.timebase import US_PER_DAY
from tidecore.units import FloatArray, IntArray

#: Lines slower than the diurnal tide: they are chosen apart, since weather is as slow as they are.
SLOW = ("SA", "SSA", "MSM", "MM", "MSF", "MF")
#: Cycles by which two lines must part within the record. Rayleigh's criterion asks for 1; what a line adds is
#: judged out of sample afterwards, so pairs 2 p apart (4.4 years) may be tried on four years.
LEAST_CYCLES = 0.8
#: Blocks that are left out in turn.
BLOCKS = 8
#: Times more noise than a lone line has, beyond which a line is not told from the rest.
_MOST_INFLATION = 30.0
#: Most lines whose node power is tried.
_MOST_NODE_LINES = 16
#: Values of the basis that are kept rather than computed again.
_KEPT_VALUES = 30_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Study:
    """What choosing needs of a record.

    ``blocks`` hold the normal equations of each block, for levels without slow weather, over these columns: two of
    each of ``names``, one of ones, two of each of ``node_lines`` times the swing of ln f of M2 about its mean.
    ``noise`` (k,) is as `noise_beside` has it. ``slow_left`` (n,) is what the tide leaves of the levels, weather and
    season included.
    """

    names: tuple[str, ...]
    blocks: tuple[NormalEquations, ...]
    noise: FloatArray
    node_lines: IntArray
    slow_left: FloatArray

    @property
    def whole(self) -> NormalEquations:
        """The normal equations of all blocks."""
        return added(self.blocks)

    def columns(self, lines: IntArray) -> IntArray:
        """Return the columns of some lines, by their places in ``names``, and that of ones."""
        pairs = np.stack((2 * lines, 2 * lines + 1), axis=1).ravel()
        return np.append(pairs, 2 * len(self.names))

    def pruned(self, equations: NormalEquations, lines: IntArray, least: float) -> IntArray:
        """Return those of ``lines`` whose power is at least ``least`` times what noise alone would give them."""
        columns = self.columns(lines)
        inverse = np.linalg.inv(equations.gram[np.ix_(columns, columns)])
        found = (inverse @ equations.right[columns])[:-1].reshape(-1, 2)
        spread = np.diag(inverse)[:-1].reshape(-1, 2).mean(axis=1)
        power = (found**2).sum(axis=1) / (2.0 * spread * self.noise[lines])
        told = spread * equations.count / 2.0 < _MOST_INFLATION
        kept: IntArray = lines[(power >= least) & told]
        return kept


def added(blocks: tuple[NormalEquations, ...]) -> NormalEquations:
    """Return the normal equations of all rows of ``blocks``."""
    whole = blocks[0]
    for block in blocks[1:]:
        whole = whole + block
    return whole


def offered_lines(days: float, composed: bool = True) -> tuple[str, ...]:
    """Return the tidal lines to try on ``days`` of record: utide's by Rayleigh first, then its others, then composed.

    Of lines too close together the first stays.
    """
    rayleigh, _ = rayleigh_choice(days)
    order = [name for name in (*rayleigh, *table_names(), *(compounds() if composed else ())) if name not in SLOW]
    order = list(dict.fromkeys(order))
    speeds = arguments_of(tuple(order)).speeds * 24.0 / (2.0 * np.pi) * days
    kept: list[int] = []
    for place, cycles in enumerate(speeds):
        clear = np.abs(speeds[kept] - cycles).min(initial=np.inf) >= LEAST_CYCLES
        if clear or (order[place] in rayleigh):
            kept.append(place)
    return tuple(order[place] for place in kept)


def study_of(
    times_us: IntArray, levels: FloatArray, latitude: float, names: tuple[str, ...], nodal: str, node: bool
) -> Study:
    """Return the study of a record.

    Parameters
    ----------
    times_us : int64 array, shape (n,)
        Ascending instants [microseconds since 1970].
    levels : array, shape (n,)
        [m]
    names : tuple of str
        Lines to try, without `SLOW`.
    nodal : {"exact", "linear_time", "none"}
    node : bool
        Whether to prepare the columns of node powers.
    """
    rows = _Rows(names, latitude, times_us, nodal)
    cuts = blocks_of(times_us, BLOCKS)
    plain = [equations_of(rows.of(cut), levels[cut]) for cut in cuts]
    whole = added(tuple(plain))
    found = whole.solve()
    left = levels - np.concatenate([rows.of(cut) @ found for cut in cuts])
    slow = np.nan_to_num(slow_part(times_us, left))
    noise = noise_beside(times_us, left - slow, arguments_of(names).speeds)
    quick = levels - slow
    swing = _swing_of_m2(latitude, times_us)
    lines = _node_lines(names, found, noise, swing, len(levels)) if node else np.empty(0, dtype=np.int64)
    blocks = []
    for cut, block in zip(cuts, plain, strict=True):
        columns = rows.of(cut)
        right = columns.T @ quick[cut]
        gram = block.gram
        if len(lines):
            pairs = np.stack((2 * lines, 2 * lines + 1), axis=1).ravel()
            swung = columns[:, pairs] * swing[cut, None]
            beside = columns.T @ swung
            gram = np.block([[gram, beside], [beside.T, swung.T @ swung]])
            right = np.concatenate((right, swung.T @ quick[cut]))
        blocks.append(NormalEquations(gram, right, float(quick[cut] @ quick[cut]), block.count))
    return Study(names, tuple(blocks), noise, lines, left)


def _swing_of_m2(latitude: float, times_us: IntArray) -> FloatArray:
    """Return ln f of M2 about its mean over the record, shape ``(n,)``."""
    factor = expansion.node_factors_at(arguments_of(("M2",)), latitude, times_us)[:, 0]
    swing: FloatArray = np.log(np.abs(factor))
    swing -= swing.mean()
    return swing


def _node_lines(
    names: tuple[str, ...], found: FloatArray, noise: FloatArray, swing: FloatArray, count: int
) -> IntArray:
    """Return the lines that M2's node cycle would move by more than noise does, strongest first; M2 among them."""
    amplitude = np.sqrt((found[: 2 * len(names)].reshape(-1, 2) ** 2).sum(axis=1))
    moved = amplitude * swing.std() / np.sqrt(2.0 * noise / count)
    if "M2" not in names or int(np.argmax(amplitude)) != names.index("M2"):
        return np.empty(0, dtype=np.int64)
    order = np.argsort(-moved, kind="stable")[:_MOST_NODE_LINES]
    kept: IntArray = order[moved[order] > 1.0]
    return kept


class _Rows:
    """The rows of a basis, kept where they are not too many."""

    def __init__(self, names: tuple[str, ...], latitude: float, times_us: IntArray, nodal: str) -> None:
        self._names, self._latitude, self._times, self._nodal = names, latitude, times_us, nodal
        self._middle = (int(times_us[0]) + int(times_us[-1])) // 2
        self._keep = len(times_us) * (2 * len(names) + 1) <= _KEPT_VALUES
        self._kept: dict[int, FloatArray] = {}

    def of(self, cut: slice) -> FloatArray:
        """Return the columns of some rows: lines, then ones."""
        known = self._kept.get(cut.start)
        if known is not None:
            return known
        times = self._times[cut]
        lines = real_columns(basis(self._names, self._latitude, times, self._nodal, self._middle))
        columns = np.hstack((lines, np.ones((len(times), 1))))
        if self._keep:
            self._kept[cut.start] = columns
        return columns


def effective_days(times_us: IntArray) -> float:
    """Return how long a record is for telling lines apart [days]: its span without gaps of over ninety days.

    Across a long gap phases are known only by whole turns, so it does not resolve as its span would; and what lies
    on both sides of it is more than either side alone.
    """
    if len(times_us) < 2:
        return 0.0
    steps = np.diff(times_us)
    gaps = steps[steps > 90 * US_PER_DAY]
    return float(times_us[-1] - times_us[0] - gaps.sum()) / US_PER_DAY
