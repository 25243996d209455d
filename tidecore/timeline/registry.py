"""The factors there are: one entry each. A new one is a function and an entry in the tuple of its group."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from tidecore.errors import UnknownName
from tidecore.timeline import access, light, person, sea_and_air, season, shore, tide
from tidecore.timeline.factor import Factor


def _by_name(*groups: Iterable[Factor]) -> Mapping[str, Factor]:
    """Return the factors of all groups by name, in their order."""
    entries: dict[str, Factor] = {}
    for factor in (factor for group in groups for factor in group):
        if factor.name in entries:
            raise ValueError(f"two factors are called {factor.name!r}")
        entries[factor.name] = factor
    return MappingProxyType(entries)


_FACTORS = _by_name(
    tide.FACTORS,
    light.FACTORS,
    season.FACTORS,
    sea_and_air.FACTORS,
    access.FACTORS,
    shore.FACTORS,
    person.FACTORS,
)


def factors() -> Mapping[str, Factor]:
    """Return every factor by name, in the order of the columns of a timeline."""
    return _FACTORS


def find_factor(name: str) -> Factor:
    """Return the factor called ``name``; `UnknownName` if there is none."""
    if name not in _FACTORS:
        raise UnknownName("factor", name, tuple(_FACTORS))
    return _FACTORS[name]
