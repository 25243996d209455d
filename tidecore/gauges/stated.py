"""What a file states about itself, set against what the caller says: both agree, or the file is refused."""

from __future__ import annotations

import numpy as np

from tidecore.errors import RecordAmbiguous
from tidecore.gauges.hints import Hints
from tidecore.gauges.zones import NO_OFFSET
from tidecore.units import IntArray, metres_per


def agreed_unit(hints: Hints, stated: str, where: str) -> str:
    """Return the unit of level that the file states ``where``; raises `RecordAmbiguous` if the hint differs."""
    given = hints.unit()
    if given is not None and metres_per(given) != metres_per(stated):
        candidates = [f"{stated!r} ({where})", f"{given!r} (unit=)"]
        raise RecordAmbiguous("the unit of level", candidates, "a unit= that agrees with the file, or none")
    return stated


def settled_datum(hints: Hints, stated: str) -> tuple[str, dict[str, str | int | float]]:
    """Return the datum given, else the one ``stated`` (empty for none); and beside it the one not taken.

    Raises `HintMissing` if there is neither.
    """
    given = hints.text("datum")
    if given is None and not stated:
        raise hints.missing("datum")
    if given is not None and stated and given != stated:
        return given, {"datum_in_file": stated}
    return given or stated, {}


def constant_offset(local_us: IntArray, offset_us: int | None) -> IntArray:
    """Return the one offset that a file states for all of its times, one a time; `NO_OFFSET` for None."""
    return np.full(local_us.shape, NO_OFFSET if offset_us is None else offset_us)


def wrapped_longitude(degrees: float) -> float:
    """Return a longitude from -180 (inclusive) to 180 [degrees east]."""
    return (degrees + 180.0) % 360.0 - 180.0


def stated_position(latitude: str, longitude: str) -> dict[str, str | int | float]:
    """Return a position as attributes [degrees, west negative], empty unless both texts are such numbers."""
    try:
        north, east = float(latitude), float(longitude)
    except ValueError:
        return {}
    if not (abs(north) <= 90.0 and abs(east) <= 360.0):
        return {}
    return {"latitude": north, "longitude": round(wrapped_longitude(east), 6)}
