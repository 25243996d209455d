"""Harmonics: the constituents of a station, and heights and rates from them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tidecore.errors import Fault, InvalidConstituents, InvalidPosition, UnknownName
from tidecore.harmonics import expansion
from tidecore.harmonics.arguments import Arguments, ComplexArray, arguments_of, satellite_sums
from tidecore.harmonics.astronomy import lunar_time
from tidecore.harmonics.expansion import BLOCK_US, QUARTER_US
from tidecore.roots.pieces import PiecewisePolynomial
from tidecore.timebase import US_PER_HOUR, TimeGrid, microseconds
from tidecore.units import FloatArray, IntArray, UtcTimes

#: Conventions of constituents that can be computed (argument of SA, node set, and when node factors are taken).
CONVENTIONS = ("utide",)
NODAL_OPTIONS = ("exact", "linear_time", "none")
#: Blocks synthesised at once for one station, as long as a segment of node factors: bounds the working memory.
_CHUNK = 128
#: Stations synthesised at once, and blocks of each of them.
_BATCH, _BATCH_BLOCKS = 64, 8
#: Width [us] and degree of the pieces that roots are sought in: twelfth-diurnal lines (M12) leave 1e-9 of themselves.
_HOURLY = (US_PER_HOUR, 10)
#: The same where instants are only looked up, each with one gather an order: fewer orders, 1e-7 of M12.
_SHORT = (US_PER_HOUR // 4, 5)
#: No record has shown more than half of this.
MOST_NODE_POWER = 5.0
#: Fewer instants an hour than this are computed one by one.
_SPARSE = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Harmonics:
    """Constituents of one station: amplitudes [m] and Greenwich phase lags [degrees] about a mean level.

    ``height(t) = mean_level + sum amplitude f(t) cos(V(t) + u(t) - phase)``.

    Parameters
    ----------
    names : tuple of str
        Names of convention "utide".
    amplitude, phase : arrays, shape (k,)
        Amplitude [m], not negative, and phase lag [degrees]. Amplitude 0 means absent.
    latitude : float
        [degrees north]; node factors depend on it.
    mean_level : float
        [m above the station's datum].
    convention : str
        "utide": argument of SA is h - p', utide's satellites. "noaa" and "ticon" are not available yet and refused.
    nodal : str
        "exact": node factors at each instant. "linear_time": held at ``nodal_at_us``, for comparison with
        programs that do so; some centimetres off within a year. "none": no node factors.
    node_powers : array, shape (k,), optional
        Powers of M2's own f by which each constituent's factor is multiplied besides: in shallow water friction
        grows with the tide, so M2's amplitude follows f to less than its first power (-0.4, say), and what passes
        through the same water gives way to it. 0 leaves a constituent as it is.

    Raises
    ------
    InvalidConstituents, InvalidPosition, UnknownName

    Notes
    -----
    Against ``utide.reconstruct`` at exact times, heights agree within 1e-7 m over 19 years.
    """

    names: tuple[str, ...]
    amplitude: FloatArray
    phase: FloatArray
    latitude: float
    mean_level: float = 0.0
    convention: str = "utide"
    nodal: str = "exact"
    nodal_at_us: int | None = None
    node_powers: FloatArray | None = None

    def __post_init__(self) -> None:
        """Check names, values and options; freeze the arrays."""
        if self.convention not in CONVENTIONS:
            raise UnknownName("convention of constituents", self.convention, CONVENTIONS)
        if self.nodal not in NODAL_OPTIONS:
            raise UnknownName("nodal option", self.nodal, NODAL_OPTIONS)
        if not (np.isfinite(self.latitude) and -90.0 <= self.latitude <= 90.0):
            raise InvalidPosition(Fault("latitude", f"{self.latitude} is on no globe", "degrees from -90 to 90"))
        for field in ("amplitude", "phase", *(() if self.node_powers is None else ("node_powers",))):
            array = np.array(getattr(self, field), dtype=np.float64).reshape(-1)
            array.flags.writeable = False
            object.__setattr__(self, field, array)
        faults = list(self._faults())
        if faults:
            raise InvalidConstituents(faults)
        arguments_of(self.names)

    def _faults(self) -> Iterator[Fault]:
        if not np.isfinite(self.mean_level):
            yield Fault("mean_level", f"is {self.mean_level}", "a finite level in metres")
        if len(self.names) != len(self.amplitude) or len(self.names) != len(self.phase):
            yield Fault("constituents", "names, amplitudes and phases differ in number", "one of each")
            return
        if self.node_powers is not None and not (
            len(self.node_powers) == len(self.names) and bool(np.all(np.abs(self.node_powers) <= MOST_NODE_POWER))
        ):
            yield Fault("node_powers", "do not fit", f"one a constituent, at most {MOST_NODE_POWER:g} either way")
        if not self.names:
            yield Fault("constituents", "there are none", "at least one constituent")
        for name in sorted({name for name in self.names if self.names.count(name) > 1}):
            yield Fault(f"constituents.{name}", "given twice", "each name once")
        for name, amplitude, phase in zip(self.names, self.amplitude, self.phase, strict=True):
            if not (np.isfinite(amplitude) and 0.0 <= amplitude <= 100.0):
                yield Fault(f"constituents.{name}.amplitude", f"is {amplitude}", "metres, from 0 to 100")
            if not np.isfinite(phase):
                yield Fault(f"constituents.{name}.phase", f"is {phase}", "finite degrees")
        if self.nodal == "linear_time" and self.nodal_at_us is None:
            yield Fault("nodal_at_us", "missing", "the instant at which node factors are held")

    @classmethod
    def from_mapping(
        cls, constituents: Mapping[str, tuple[float, float]], latitude: float, mean_level: float, convention: str
    ) -> Harmonics:
        """Build from ``{name: (amplitude_m, phase_deg)}``."""
        values = np.array(list(constituents.values()), dtype=np.float64).reshape(-1, 2)
        return cls(tuple(constituents), values[:, 0], values[:, 1], latitude, mean_level, convention)

    def heights(self, times: TimeGrid | UtcTimes) -> FloatArray:
        """Return heights [m above datum] at ``times``; a `TimeGrid` is the fast path.

        Parameters
        ----------
        times : TimeGrid or datetime64 array [UTC]
            In any order, of any spacing and shape; the result has that shape, ``(count,)`` for a grid.

        Raises
        ------
        InvalidSpan
            If a time is NaT or outside 1700 to 2200.
        """
        return self._synthesise(times, 0)

    def rates(self, times: TimeGrid | UtcTimes) -> FloatArray:
        """Return the rate of change of height [m/h] at ``times``; as `heights` otherwise."""
        return self._synthesise(times, 1)

    def pieces(self, start_us: int, end_us: int) -> PiecewisePolynomial:
        """Return height [m] as polynomials over whole UTC hours that cover ``[start_us, end_us]``."""
        width_us, degree = _HOURLY
        whole = self._block_pieces(start_us, end_us, width_us, degree)
        first, last = start_us // width_us, max(-(-end_us // width_us), start_us // width_us + 1)
        begin = first - whole.start_us // width_us
        return PiecewisePolynomial(first * width_us, width_us, whole.coefficients[begin : begin + last - first])

    def amplitude_of(self, name: str) -> float:
        """Return the amplitude [m] of ``name``, 0 where it is absent."""
        return float(self.amplitude[self.names.index(name)]) if name in self.names else 0.0

    def phase_of(self, name: str) -> float:
        """Return the phase lag [degrees] of ``name``, 0 where it is absent."""
        return float(self.phase[self.names.index(name)]) if name in self.names else 0.0

    @property
    def form_number(self) -> float:
        """(K1 + O1) / (M2 + S2) by amplitude; infinite where there is no M2 and S2, NaN where there is neither."""
        diurnal, semidiurnal = (sum(map(self.amplitude_of, pair)) for pair in (("K1", "O1"), ("M2", "S2")))
        if semidiurnal == 0.0:
            return float("inf") if diurnal > 0.0 else float("nan")
        return diurnal / semidiurnal

    @property
    def speeds_deg_per_hour(self) -> FloatArray:
        """Speeds of the constituents at 2000-01-01 [degrees an hour], shape ``(k,)``."""
        return np.degrees(arguments_of(self.names).speeds)

    def m2_cycles(self, times_us: IntArray) -> FloatArray:
        """Return cycles of M2 since 1970, whole at the station's own M2 high water, shape as ``times_us``."""
        flat = np.asarray(times_us, dtype=np.float64).reshape(-1)
        # The argument of M2 is twice mean lunar time.
        turns = 2.0 * lunar_time(np.concatenate(([0.0], flat)))
        cycles: FloatArray = turns[1:] - np.floor(turns[0]) - self.phase_of("M2") / 360.0
        return cycles.reshape(np.shape(times_us))

    def _lines(self) -> tuple[Arguments, ComplexArray]:
        """Return arguments and complex amplitudes of the constituents."""
        amplitudes = (self.amplitude * np.exp(-1j * np.radians(self.phase))).astype(np.complex128)
        return self._arguments(), amplitudes

    def _arguments(self) -> Arguments:
        lines = arguments_of(self.names)
        return lines if self.node_powers is None else replace(lines, node_powers=self.node_powers)

    def _fixed_factors(self) -> ComplexArray | None:
        if self.nodal == "exact":
            return None
        if self.nodal == "none":
            return np.ones((1, len(self.names)), dtype=np.complex128)
        at = satellite_sums(np.array([self.nodal_at_us]))
        return self._arguments().node_factors(at, np.array([self.latitude]))[:, 0]

    def _block_pieces(self, start_us: int, end_us: int, width_us: int, degree: int) -> PiecewisePolynomial:
        """Return height [m] over the whole blocks that cover ``[start_us, end_us]``, in pieces of ``width_us``."""
        blocks = expansion.blocks_covering(start_us, end_us)
        lines, amplitudes = self._lines()
        latitudes, fixed = np.array([self.latitude]), self._fixed_factors()
        per_block = BLOCK_US // width_us
        out = np.empty((len(blocks) * per_block, degree + 1))
        for at in range(0, len(blocks), _CHUNK):
            part = blocks[at : at + _CHUNK]
            coefficients = expansion.block_coefficients(lines, amplitudes[None], latitudes, part, fixed)
            nodes = expansion.quarter_nodes(lines, coefficients)[0]
            nodes += self.mean_level
            expansion.fill_pieces(out[at * per_block : (at + _CHUNK) * per_block], nodes)
        return PiecewisePolynomial(int(blocks[0]) * BLOCK_US, width_us, out)

    def _synthesise(self, times: TimeGrid | UtcTimes, order: int) -> FloatArray:
        if isinstance(times, TimeGrid):
            check_grid(times)
            if times.count and QUARTER_US % times.step_us == 0:
                out: FloatArray = np.empty((1, times.count))
                lines, amplitudes = self._lines()
                latitudes, levels = np.array([self.latitude]), np.array([self.mean_level])
                fill_grid(out, lines, amplitudes[None], latitudes, levels, times, order, self._fixed_factors())
                row: FloatArray = out[0]
                return row
            return self._scattered(times.times_us(), order)
        ticks = microseconds(times)
        return self._scattered(ticks.reshape(-1), order).reshape(ticks.shape)

    def _scattered(self, ticks: IntArray, order: int) -> FloatArray:
        if not ticks.size:
            return np.empty(0)
        start, end = int(ticks.min()), int(ticks.max())
        if self.nodal == "exact" and ticks.size < _SPARSE * (end - start) / US_PER_HOUR:
            lines, amplitudes = self._lines()
            tide = expansion.direct(lines, amplitudes, self.latitude, ticks, order)
            return tide if order else tide + self.mean_level
        polynomial = self._block_pieces(start, end, *_SHORT)
        return (polynomial.derivative() if order else polynomial)(ticks)


def check_grid(grid: TimeGrid) -> None:
    """Raise `InvalidSpan` if ``grid`` leaves the years 1700 to 2200."""
    if grid.count:
        ends = np.array([grid.start_us, grid.start_us + (grid.count - 1) * grid.step_us])
        microseconds(ends.view("datetime64[us]"), "grid")


def fill_grid(
    out: FloatArray,
    lines: Arguments,
    amplitudes: ComplexArray,
    latitudes: FloatArray,
    levels: FloatArray,
    grid: TimeGrid,
    order: int,
    fixed_factors: ComplexArray | None,
) -> None:
    """Fill ``out`` (stations, count) with heights [m] or rates [m/h] on ``grid``, whose step divides six hours.

    ``levels`` (stations,) are the mean levels [m]; rates take no notice of them.
    """
    per_quarter = QUARTER_US // grid.step_us
    offset = grid.start_us % grid.step_us
    matrix = expansion.sampling_matrix(offset, grid.step_us, per_quarter, order)
    blocks = expansion.blocks_covering(grid.start_us, grid.start_us + (grid.count - 1) * grid.step_us)
    chunk = _CHUNK if len(latitudes) == 1 else _BATCH_BLOCKS
    for at in range(0, len(blocks), chunk):
        part = blocks[at : at + chunk]
        coefficients = expansion.block_coefficients(lines, amplitudes, latitudes, part, fixed_factors)
        nodes = expansion.quarter_nodes(lines, coefficients)
        nodes += levels[:, None, None]
        # Place of the first sample of this part in the grid; negative for what precedes the grid.
        place = (int(part[0]) * BLOCK_US + offset - grid.start_us) // grid.step_us
        _sample(out, nodes, matrix, place)


def _sample(out: FloatArray, nodes: FloatArray, matrix: FloatArray, place: int) -> None:
    """Write the samples of quarter-days ``nodes``, of which the first starts at ``place``, as far as ``out`` goes.

    Whole quarter-days go straight into ``out``: a copy of a long series costs as much as computing it.
    """
    per_quarter, count, quarters = matrix.shape[1], out.shape[1], nodes.shape[1]
    first = min(quarters, max(0, -(place // per_quarter)))
    last = max(first, min(quarters, (count - place) // per_quarter))
    whole = out[:, place + first * per_quarter : place + last * per_quarter]
    if last > first:
        np.matmul(nodes[:, first:last], matrix, out=whole.reshape(len(out), last - first, per_quarter))
    for quarter in (first - 1, last):
        start = place + quarter * per_quarter
        low, high = max(0, start), min(count, start + per_quarter)
        if 0 <= quarter < quarters and low < high:
            out[:, low:high] = nodes[:, quarter] @ matrix[:, low - start : high - start]


def heights_at_stations(stations: Sequence[Harmonics], grid: TimeGrid) -> FloatArray:
    """Return heights [m above each station's own datum], shape ``(stations, count)``.

    Stations with the same constituents share their astronomy; otherwise equal to `Harmonics.heights` of each.

    Raises
    ------
    InvalidSpan
        If the grid leaves the years 1700 to 2200.
    """
    check_grid(grid)
    out = np.empty((len(stations), grid.count))
    if not grid.count:
        return out
    # Stations with node powers of their own share nothing that counts: they go one by one.
    keys = [(*one.names, one.nodal, "" if one.node_powers is None else "own powers") for one in stations]
    for places in expansion.same_sets(keys).values():
        alone = stations[places[0]]
        if QUARTER_US % grid.step_us or alone.nodal != "exact" or alone.node_powers is not None:
            for place in places:
                out[place] = stations[place].heights(grid)
            continue
        lines = arguments_of(stations[places[0]].names)
        for at in range(0, len(places), _BATCH):
            some = places[at : at + _BATCH]
            batch = [stations[place] for place in some]
            amplitudes = np.array([one.amplitude * np.exp(-1j * np.radians(one.phase)) for one in batch])
            filled = np.empty((len(batch), grid.count))
            latitudes = np.array([one.latitude for one in batch])
            levels = np.array([one.mean_level for one in batch])
            fill_grid(filled, lines, amplitudes, latitudes, levels, grid, 0, None)
            out[some] = filled
    return out
