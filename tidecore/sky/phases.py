"""New moon, first quarter, full moon, last quarter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.errors import Fault, InvalidSpan
from tidecore.roots.brackets import refine, sample_times
from tidecore.sky.positions import SkyPositions
from tidecore.timebase import US_PER_DAY, TimeSpan, from_microseconds, instant
from tidecore.units import AnyArray, UtcTimes

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
    # Whole days around the span, so that the brackets are the same whatever span is asked for.
    first, last = span.start_us // US_PER_DAY, -(-span.end_us // US_PER_DAY)
    times = sample_times(first * US_PER_DAY, last * US_PER_DAY, US_PER_DAY)
    quarter = np.floor(positions.moon_elongation_deg(times) / 90.0).astype(np.int64)
    left = np.flatnonzero(quarter[1:] != quarter[:-1])
    phase = quarter[left + 1]
    roots = refine(
        lambda at: (positions.moon_elongation_deg(at) - 90.0 * phase + 180.0) % 360.0 - 180.0,
        times[left],
        times[left + 1],
    )
    ticks = np.rint(roots).astype(np.int64)
    inside = (ticks >= span.start_us) & (ticks < span.end_us)
    return MoonPhases(from_microseconds(ticks[inside]), np.array(PHASE_NAMES)[phase[inside]])
