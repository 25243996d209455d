"""What a trip or a diary row adds up to, small enough to be kept beside it: effort, catches by species, best fish."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from tidecore.catchlog.diary import DiaryRow
from tidecore.catchlog.effort import Effort, effort_is_on_record, effort_of
from tidecore.catchlog.moments import ticks
from tidecore.catchlog.record import TripRecord
from tidecore.catchlog.sizes import Length
from tidecore.catchlog.trip import Catch
from tidecore.rules import Species


@dataclass(frozen=True, slots=True)
class SpeciesTally:
    """How many of one species, how many of them were kept and returned; of coarse rows neither is known."""

    species: Species
    count: int
    kept: int
    returned: int


class Longest(NamedTuple):
    """The longest of one species in one kind of length, and when it was caught [microseconds since 1970]."""

    species: Species
    length: Length
    at_us: int


def species_key(species: Species) -> tuple[str, str]:
    """Return what two catches of one species have in common as they are written: code, and name without case."""
    return species.fao_code or "", species.scientific_name.casefold()


def tally_catches(catches: Iterable[Catch]) -> tuple[SpeciesTally, ...]:
    """Return catches by species, in the order in which each came first."""
    found: dict[tuple[str, str], tuple[Species, list[str]]] = {}
    for one in catches:
        key, species = species_key(one.species), one.species
        if key not in found:
            found[key] = species, []
        found[key][1].append(one.fate)
    return tuple(
        SpeciesTally(species, len(fates), fates.count("kept"), fates.count("returned"))
        for species, fates in found.values()
    )


def tally_row(row: DiaryRow) -> tuple[SpeciesTally, ...]:
    """Return the counts of a coarse row, those of 0 left out."""
    return tuple(SpeciesTally(one.species, one.count, 0, 0) for one in row.caught if one.count)


def longest_of(catches: Iterable[Catch]) -> tuple[Longest, ...]:
    """Return the longest of every species and kind of length that were measured; of equals the first."""
    found: dict[tuple[tuple[str, str], str], tuple[Length, Catch]] = {}
    for one in catches:
        if one.length is None:
            continue
        length = one.length
        key = (species_key(one.species), length.kind)
        best = found.get(key)
        if best is None or length.cm > best[0].cm or (length.cm == best[0].cm and one.at < best[1].at):
            found[key] = length, one
    return tuple(Longest(one.species, length, ticks(one.at)) for length, one in found.values())


def effort_on_record(record: TripRecord) -> Effort | None:
    """Return the effort of a trip, none where it was not fished; None where no rod of a fished trip is on record."""
    known = effort_is_on_record(record.trip.outcome, len(record.deployments))
    return effort_of(record.deployments) if known else None
