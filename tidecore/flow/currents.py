"""The tidal stream in a record of the current: harmonic fit of both components, and the axis along which it runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.errors import Fault, InvalidInput, RecordTooShort, SlackUndetermined
from tidecore.harmonics import Harmonics
from tidecore.harmonics.engine import rayleigh_choice, solve
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, microseconds
from tidecore.units import AnyArray, FloatArray, IntArray, UtcTimes

#: A fit needs so many days and pairs of values.
NEEDED_DAYS, NEEDED_VALUES = 7.0, 96
#: Values further apart than this [us] don't tell a stream that turns four times a day, with what it does between.
_COARSEST_US = US_PER_HOUR
#: Faster currents than this [m/s] are a fault of unit.
_FASTEST = 12.0
#: A stream that goes less than this with the rate of the level runs hardest at high and low water.
_LEAST_ALIKE = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Stream:
    """A tidal stream, fitted; every `Harmonics` here is of speed [m/s] in place of height.

    Parameters
    ----------
    east, north : Harmonics
        Both components, with their means.
    along : Harmonics
        The component towards ``towards_deg``, flood positive, with its mean.
    towards_deg : float
        Where the flood runs to along the principal axis [degrees clockwise from true north].
    across_part : float
        Deviation across the axis over that along it: 0 where the stream runs to and fro, 1 where it goes round.
    residual_rms : float
        Of both components together [m/s].
    variance_explained : float
        Part of the variance of both components, 0 to 1.
    first_us, last_us : int
        First and last valid instant of the record [microseconds since 1970].
    values : int
        Valid pairs.
    """

    east: Harmonics
    north: Harmonics
    along: Harmonics
    towards_deg: float
    across_part: float
    residual_rms: float
    variance_explained: float
    first_us: int
    last_us: int
    values: int


def fit_stream(
    times: UtcTimes,
    east: AnyArray,
    north: AnyArray | None,
    *,
    latitude: float,
    tide: Harmonics | None = None,
    flood_towards_deg: float | None = None,
) -> Stream:
    """Fit the tidal stream to a record of the current.

    Parameters
    ----------
    times : datetime64 array, shape ``(n,)``
        Instants [UTC], ascending, at most an hour apart in the middle.
    east, north : float arrays, shape ``(n,)``
        Components of the current towards east and north [m/s]; a pair with a NaN is missing.
    latitude : float
        [degrees north]
    tide : Harmonics, optional
        The tide of the place, by which flood and ebb are told apart: the flood is the way in which the stream runs
        while the level rises.
    flood_towards_deg : float, optional
        Roughly where the flood runs to [degrees clockwise from true north]; tells them apart in place of the tide.

    Returns
    -------
    Stream

    Raises
    ------
    InvalidInput
        If a component is missing, they differ in length, instants don't ascend or are too far apart, or a speed is
        beyond 12 m/s.
    RecordTooShort
        If there are fewer than 7 days or 96 pairs.
    SlackUndetermined
        If the stream doesn't move, or which way the flood runs can't be told.

    Notes
    -----
    Both components are fitted by utide with the constituents that the record separates by Rayleigh's criterion, which
    is the fit of the two-dimensional problem. The principal axis is that of the fitted tide without its mean: the
    direction of largest variance.

    References
    ----------
    Emery and Thomson (2001), Data Analysis Methods in Physical Oceanography, section 4.3.5 (principal axis from the
    covariances; from memory).
    """
    ticks, u, v = check_current(times, east, north)
    days = (int(ticks[-1]) - int(ticks[0])) / US_PER_DAY if ticks.size else 0.0
    if days < NEEDED_DAYS or ticks.size < NEEDED_VALUES:
        raise RecordTooShort(days, NEEDED_DAYS, int(ticks.size), NEEDED_VALUES)
    if float(np.median(np.diff(ticks))) > _COARSEST_US:
        problem = f"lie {np.median(np.diff(ticks)) / US_PER_HOUR:g} h apart"
        raise InvalidInput(Fault("times", problem, "values at most an hour apart"))
    names = rayleigh_choice(days)[0]
    fitted = [_fit(ticks, one, latitude, names) for one in (u, v)]
    at = ticks.view("datetime64[us]")
    tidal = np.stack([one.heights(at) - one.mean_level for one in fitted])
    if not tidal.std() > 1e-4:
        raise SlackUndetermined("the record holds no current that moves with the tide")
    towards = _axis(tidal)
    unit = np.array([np.sin(np.radians(towards)), np.cos(np.radians(towards))])
    if not _floods(unit @ tidal, at, towards, tide, flood_towards_deg):
        towards, unit = (towards + 180.0) % 360.0, -unit
    residual = np.stack([u - fitted[0].heights(at), v - fitted[1].heights(at)])
    given = np.stack([u, v])
    across = np.array([unit[1], -unit[0]])
    return Stream(
        east=fitted[0],
        north=fitted[1],
        along=_projected(fitted[0], fitted[1], unit),
        towards_deg=towards,
        across_part=float((across @ tidal).std() / (unit @ tidal).std()),
        residual_rms=float(np.sqrt((residual**2).sum(axis=0).mean())),
        variance_explained=float(1.0 - residual.var(axis=1).sum() / given.var(axis=1).sum()),
        first_us=int(ticks[0]),
        last_us=int(ticks[-1]),
        values=int(ticks.size),
    )


def check_current(times: UtcTimes, east: AnyArray, north: AnyArray | None) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the valid pairs of a record of the current.

    Parameters
    ----------
    times, east, north
        As `fit_stream` takes them.

    Returns
    -------
    times_us : int64 array, shape ``(m,)``
        [microseconds since 1970]
    east, north : float64 arrays, shape ``(m,)``
        [m/s]

    Raises
    ------
    InvalidInput
        If a component is missing or holds nothing, they differ in length, instants don't ascend, or a speed is beyond
        12 m/s.
    """
    faults = []
    if north is None:
        expected = "both components of the current: one of them alone has no axis, and no slack of its own"
        raise InvalidInput(Fault("north", "is missing", expected))
    ticks = microseconds(times)
    components = {"east": np.asarray(east, dtype=np.float64), "north": np.asarray(north, dtype=np.float64)}
    for name, values in components.items():
        if values.shape != ticks.shape or ticks.ndim != 1:
            held = f"has {values.size} values" if values.ndim == 1 else f"has shape {values.shape}"
            faults.append(Fault(name, held, f"one value for each of {ticks.size} times"))
        elif (np.abs(values) > _FASTEST).any():
            place = int(np.flatnonzero(np.abs(values) > _FASTEST)[0])
            faults.append(Fault(f"{name}.{place}", f"is {values[place]:g}", f"metres a second, up to {_FASTEST:g}"))
        elif not np.isfinite(values).any():
            faults.append(Fault(name, "holds no value", "both components of the current"))
    if (np.diff(ticks) <= 0).any():
        place = int(np.flatnonzero(np.diff(ticks) <= 0)[0]) + 1
        faults.append(Fault(f"times.{place}", "does not come after the one before it", "instants in ascending order"))
    if faults:
        raise InvalidInput(faults)
    valid = np.isfinite(components["east"]) & np.isfinite(components["north"])
    return ticks[valid], components["east"][valid], components["north"][valid]


def _fit(ticks: IntArray, values: FloatArray, latitude: float, names: tuple[str, ...]) -> Harmonics:
    """Return the harmonics of one component; those of one that never moves, across a canal, are 0."""
    if values.std() == 0.0:
        nothing = np.zeros(len(names))
        return Harmonics(names, nothing, nothing, latitude, float(values[0]))
    return solve(ticks, values, latitude, names).harmonics


def _axis(tidal: FloatArray) -> float:
    """Return the direction of largest variance, one of the two [degrees clockwise from north, 0 to 180]."""
    (east, both), (_, north) = np.cov(tidal)
    from_east = 0.5 * np.degrees(np.arctan2(2.0 * both, east - north))
    return float((90.0 - from_east) % 180.0)


def _floods(
    along: FloatArray, times: UtcTimes, towards: float, tide: Harmonics | None, flood_towards_deg: float | None
) -> bool:
    """Return whether the flood runs ``towards`` an end of the axis, and not to the other."""
    expected = "flood_towards_deg: roughly where the flood runs to"
    if flood_towards_deg is not None:
        if not np.isfinite(flood_towards_deg):
            raise InvalidInput(Fault("flood_towards_deg", f"is {flood_towards_deg}", "degrees from true north"))
        turn = np.cos(np.radians(towards - flood_towards_deg))
        if abs(turn) < np.cos(np.radians(75.0)):
            problem = f"is {flood_towards_deg:g}, and the stream runs along {towards:.0f} and {towards + 180.0:.0f}"
            raise InvalidInput(Fault("flood_towards_deg", problem, "a direction within 75 degrees of one of them"))
        return bool(turn > 0.0)
    if tide is None:
        raise SlackUndetermined(f"which way the flood runs is not known; give the tide of the place, or {expected}")
    rates = tide.rates(times)
    alike = float(np.corrcoef(along, rates)[0, 1]) if rates.std() > 0.0 else 0.0
    if abs(alike) < _LEAST_ALIKE:
        raise SlackUndetermined(
            f"the stream runs hardest about HW and LW, so that which way the flood runs is not told; give {expected}"
        )
    return alike > 0.0


def _projected(east: Harmonics, north: Harmonics, unit: FloatArray) -> Harmonics:
    """Return the harmonics of the component along a unit vector (towards east, towards north)."""
    phasors = [
        dict(zip(one.names, one.amplitude * np.exp(-1j * np.radians(one.phase)), strict=True)) for one in (east, north)
    ]
    names = east.names
    along = np.array([unit[0] * phasors[0][name] + unit[1] * phasors[1][name] for name in names])
    return Harmonics(
        names=names,
        amplitude=np.abs(along),
        phase=np.degrees(-np.angle(along)) % 360.0,
        latitude=east.latitude,
        mean_level=float(unit[0] * east.mean_level + unit[1] * north.mean_level),
    )
