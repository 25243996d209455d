"""What beds mean on the shore: which formula of run-up they have, and how fast one walks over them with kit."""

from __future__ import annotations

SAND = frozenset({"clean_sand", "sand_with_bars_and_gutters"})
GRAVEL = frozenset({"shingle"})

#: Walking with kit [km/h]; common practice. The slower end where a span is usual. Soft mud is not walked; of structure
#: and channel edges nothing general is known.
WALKING_KM_PER_H: dict[str, float] = {
    "clean_sand": 4.0,
    "sand_with_bars_and_gutters": 4.0,
    "shingle": 2.0,
    "shingle_to_sand": 2.0,
    "broken_or_mixed": 1.5,
    "rough_rock_and_kelp": 1.5,
    "mussel": 1.5,
    "eelgrass": 1.5,
}


def walking_minutes(length_m: float, bed: str | None) -> float | None:
    """Return the minutes of a walk with kit over a bed; None where the bed is unknown, or not walked.

    Examples
    --------
    >>> walking_minutes(500.0, "clean_sand"), walking_minutes(500.0, "mud")
    (7.5, None)
    """
    speed = WALKING_KM_PER_H.get(bed or "")
    return None if speed is None else length_m / 1000.0 / speed * 60.0
