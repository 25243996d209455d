"""Conventions of constituents: which names there are in each, and what they mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from tidecore.harmonics import MEANINGS, argument_table


@dataclass(frozen=True, slots=True)
class NamedLine:
    """A constituent: six ``multiples`` of (tau, s, h, p, N', p'), a constant [degrees], a speed [degrees an hour]."""

    name: str
    multiples: Sequence[float]
    constant_deg: float
    speed_deg_per_hour: float


@dataclass(frozen=True, slots=True)
class ConventionView:
    """A convention, what it is, and its constituents."""

    name: str
    meaning: str
    lines: Sequence[NamedLine]


@cache
def list_conventions() -> Sequence[ConventionView]:
    """Return every convention."""
    meanings: Mapping[str, str] = MEANINGS
    return tuple(
        ConventionView(
            name,
            meaning,
            tuple(NamedLine(one.name, one.multiples, one.constant, one.speed) for one in argument_table(name)),
        )
        for name, meaning in meanings.items()
    )
