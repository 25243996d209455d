"""The clock of a whole record against a neighbour: an hour off in every tide looks right to the record itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.errors import UnfitNeighbour
from tidecore.harmonics import Harmonics
from tidecore.units import FloatArray

#: Constituents compared, those that both have above this amplitude [m].
LINES = ("M2", "S2", "N2", "K1", "O1", "Q1", "K2", "P1")
_LEAST_M = 0.01
#: Tides whose diurnal shares (K1 + O1) / (K1 + O1 + M2 + S2) differ by more are of other types.
_MOST_UNLIKE = 0.25
#: Delays from this on are said [h]; a tide takes its time between neighbours.
LEAST_LAG_H = 0.75
#: Diurnal and semidiurnal tide agree on an error of the clock; a tide that travels seldom has them agree [h].
_AGREE_H = 0.35
#: Longest delay looked for [h]: further zones are told by the diurnal tide alone.
_MOST_H = 14.0


@dataclass(frozen=True, slots=True)
class ZoneError:
    """The record is later than its neighbour by ``hours``; ``sure`` where both species of tide say so."""

    hours: float
    sure: bool


def zone_error(own: Harmonics, neighbour: Harmonics, station: str = "") -> ZoneError | None:
    """Return by how much a record is off against a neighbour, None where that is no error of zone.

    Raises
    ------
    UnfitNeighbour
        If the neighbour's tide is of another type, or the two have no main constituent in common.
    """
    shares = _diurnal_share(own), _diurnal_share(neighbour)
    if np.isnan(shares).any():
        raise UnfitNeighbour(station, "has no M2, S2, K1 or O1 to compare", "a station with the main constituents")
    if abs(shares[0] - shares[1]) > _MOST_UNLIKE:
        problem = f"has a {_kind(shares[1])} tide (form number {_form(neighbour)})"
        raise UnfitNeighbour(station, problem, f"a {_kind(shares[0])} one as the record has (form number {_form(own)})")
    names = [
        name
        for name in LINES
        if name in own.names
        and name in neighbour.names
        and min(own.amplitude_of(name), neighbour.amplitude_of(name)) >= _LEAST_M
    ]
    if not names:
        raise UnfitNeighbour(station, "has no constituent above a centimetre in common with the record", "another one")
    speeds = dict(zip(own.names, own.speeds_deg_per_hour, strict=True))
    turns = np.array([speeds[name] for name in names])
    apart = np.array([own.phase_of(name) - neighbour.phase_of(name) for name in names])
    weights = np.array([own.amplitude_of(name) * neighbour.amplitude_of(name) for name in names])
    lag = _lag(turns, apart, weights)
    if abs(lag) < LEAST_LAG_H:
        return None
    daily = turns < 20.0
    if not (daily.any() and (~daily).any()):
        return ZoneError(lag, sure=False)
    near = [_lag(turns[part], apart[part], weights[part], lag) for part in (daily, ~daily)]
    return ZoneError(lag, sure=True) if abs(near[0] - near[1]) <= _AGREE_H else None


def _lag(turns: FloatArray, apart: FloatArray, weights: FloatArray, about: float = 0.0) -> float:
    """Return the delay [h] at which the tides agree best; of nearly equal ones that nearest to ``about``."""
    lags = np.arange(-_MOST_H, _MOST_H + 1e-9, 1.0 / 60.0)
    agreement = np.cos(np.radians(apart - lags[:, None] * turns)) @ weights / weights.sum()
    best = np.flatnonzero(agreement >= agreement.max() - 0.01)
    borders = np.flatnonzero(np.diff(best) > 1) + 1
    peaks = [part[np.argmax(agreement[part])] for part in np.split(best, borders)]
    return float(min((lags[peak] for peak in peaks), key=lambda lag: abs(lag - about)))


def _diurnal_share(tide: Harmonics) -> float:
    diurnal, semidiurnal = (
        sum(tide.amplitude_of(name) for name in pair if name in tide.names) for pair in (("K1", "O1"), ("M2", "S2"))
    )
    return diurnal / (diurnal + semidiurnal) if diurnal + semidiurnal > 0.0 else float("nan")


def _kind(share: float) -> str:
    """Return the type of a tide by its diurnal share: form numbers 0.25, 1.5 and 3 part the types."""
    limits = ((0.2, "semidiurnal"), (0.6, "mixed, mainly semidiurnal"), (0.75, "mixed, mainly diurnal"))
    return next((name for limit, name in limits if share < limit), "diurnal")


def _form(tide: Harmonics) -> str:
    share = _diurnal_share(tide)
    return f"{share / (1.0 - share):.2f}" if share < 1.0 else "without bound"
