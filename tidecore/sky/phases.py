"""New moon, first quarter, full moon, last quarter."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tidecore.errors import Fault, InvalidSpan
from tidecore.roots.brackets import refine, sample_times
from tidecore.sky import ephemeris
from tidecore.sky.positions import SkyPositions, sky_positions
from tidecore.timebase import US_PER_DAY, TimeSpan, from_microseconds, instant
from tidecore.units import AnyArray, IntArray, UtcTimes

#: Days are looked at in blocks of so many that are anchored to 1970, and kept by the process: 30 years at most.
_BLOCK_US = 32 * US_PER_DAY
_BLOCKS_KEPT = 360

PHASE_NAMES: tuple[str, ...] = ("new", "first_quarter", "full", "last_quarter")


@dataclass(frozen=True, slots=True, eq=False)
class MoonPhases:
    """Phases of the moon in time order: ``time`` (UTC) and ``name``, one of `PHASE_NAMES`, one value a phase."""

    time: UtcTimes
    name: AnyArray

    def __len__(self) -> int:
        """Return the number of phases."""
        return int(self.time.size)


def moon_phases(positions: SkyPositions, start: np.datetime64 | str, end: np.datetime64 | str) -> MoonPhases:
    """Return the four phases of the moon in ``[start, end)``: elongations of 0, 90, 180 and 270 degrees.

    Parameters
    ----------
    positions : SkyPositions
        From `sky_positions`; its own span holds ``[start, end)``.
    start, end : datetime64 or ISO text
        Half-open span [UTC].

    Returns
    -------
    MoonPhases
        Instants at which the apparent geocentric ecliptic longitude of the moon exceeds the sun's by a quarter turn
        or a whole number of them. The same everywhere on Earth.

    Raises
    ------
    InvalidSpan
        If the end is not after the start, or the span leaves that of ``positions``.

    Notes
    -----
    Within 60 s of the examples 49.a and 49.b of Meeus (1998), Astronomical Algorithms, 2nd ed.
    """
    span = TimeSpan(instant(start, "start"), instant(end, "end"))
    if span.start < positions.start or span.end > positions.end:
        expected = f"a span inside that of the positions, {positions.start} to {positions.end}"
        raise InvalidSpan(Fault("start", f"{span.start} to {span.end} is not covered", expected))
    blocks = range(span.start_us // _BLOCK_US, (span.end_us - 1) // _BLOCK_US + 1)
    ticks, phase = (np.concatenate(each) for each in zip(*map(_of_block, blocks), strict=True))
    inside = (ticks >= span.start_us) & (ticks < span.end_us)
    return MoonPhases(from_microseconds(ticks[inside]), np.array(PHASE_NAMES)[phase[inside]])


@lru_cache(maxsize=_BLOCKS_KEPT)
def _of_block(index: int) -> tuple[IntArray, IntArray]:
    """Return the phases of a block: instants [microseconds since 1970] and places in `PHASE_NAMES`, read-only.

    A block is always worked out whole, so that its phases do not depend on who asks.
    """
    start, end = from_microseconds(np.array([index * _BLOCK_US, (index + 1) * _BLOCK_US], dtype=np.int64))
    positions = sky_positions(max(start, ephemeris.FIRST_DAY), min(end, ephemeris.LAST_DAY))
    times = sample_times(positions.start_us, positions.end_us, US_PER_DAY)
    quarter = np.floor(positions.moon_elongation_deg(times) / 90.0).astype(np.int64)
    left = np.flatnonzero(quarter[1:] != quarter[:-1])
    phase = quarter[left + 1]
    roots = refine(
        lambda at: (positions.moon_elongation_deg(at) - 90.0 * phase + 180.0) % 360.0 - 180.0,
        times[left],
        times[left + 1],
    )
    found = np.rint(roots).astype(np.int64), phase
    for array in found:
        array.flags.writeable = False
    return found
