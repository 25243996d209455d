"""What a trip or a diary row adds up to, as columns beside its document: so totals need not read the documents."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

import orjson

from service.storage.repositories.documents import Link
from tidecore.catchlog import (
    DiaryRow,
    Longest,
    SpeciesTally,
    TripRecord,
    coarse_effort,
    effort_on_record,
    longest_of,
    species_key,
    tally_catches,
    tally_row,
)
from tidecore.catchlog.sizes import Length
from tidecore.rules import Species
from tidecore.timebase import US_PER_HOUR


@dataclass(frozen=True, slots=True)
class SpeciesCount:
    """How many of a species, kept and returned, on how many trips; ``from_diary`` of them in coarse rows."""

    species: Species
    count: int
    kept: int
    returned: int
    trips: int
    from_diary: int


def trip_sums(record: TripRecord) -> Mapping[str, Link]:
    """Return the columns that sum up a trip."""
    effort, tallies = effort_on_record(record), tally_catches(record.catches)
    return {
        "purpose": record.trip.purpose,
        "why_not": record.trip.why_not,
        "raw_us": None if effort is None else effort.raw_us,
        "bait_on_us": None if effort is None else effort.bait_on_us,
        "uncast_us": None if effort is None else effort.uncast_us,
        "caught": _write_tallies(tallies),
        "bests": _write_longest(longest_of(record.catches)),
    }


def diary_sums(row: DiaryRow, zone: ZoneInfo) -> Mapping[str, Link]:
    """Return the columns that sum up a coarse row; ``zone`` is that of its mark."""
    hours = coarse_effort(row, zone).rod_hours
    return {
        "why_not": row.why_not,
        "coarse_us": None if hours != hours else round(hours * US_PER_HOUR),
        "caught": _write_tallies(tally_row(row)),
    }


def read_tallies(text: str) -> tuple[SpeciesTally, ...]:
    """Return what a column ``caught`` says."""
    if not text:
        return ()
    return tuple(
        SpeciesTally(_species(name, code, local), count, kept, returned)
        for name, code, local, count, kept, returned in orjson.loads(text)
    )


def read_longest(text: str) -> tuple[Longest, ...]:
    """Return what a column ``bests`` says."""
    if not text:
        return ()
    return tuple(
        Longest(_species(name, code, local), Length(cm=cm, kind=kind, precision_cm=precision), at_us)
        for name, code, local, cm, kind, precision, at_us in orjson.loads(text)
    )


def count_species(trips: Iterable[str], rows: Iterable[str] = ()) -> list[SpeciesCount]:
    """Return columns ``caught`` of trips and of coarse rows by species, the most first."""
    # Plain lists: a long log has tens of thousands of these.
    found: dict[tuple[str, str | None, str | None], list[int]] = {}
    for texts, coarse in ((trips, False), (rows, True)):
        for text in texts:
            for name, code, local, count, kept, returned in orjson.loads(text) if text else ():
                sums = found.setdefault((name, code, local), [0, 0, 0, 0, 0])
                sums[0] += count
                sums[1] += kept
                sums[2] += returned
                sums[4 if coarse else 3] += count if coarse else 1
    merged: dict[tuple[str, str], SpeciesCount] = {}
    for named, sums in found.items():
        species = _species(*named)
        before = merged.get(species_key(species))
        own = SpeciesCount(species, *sums)
        merged[species_key(species)] = own if before is None else _together(before, own)
    return sorted(merged.values(), key=lambda one: (-one.count, one.species.scientific_name))


def _together(one: SpeciesCount, other: SpeciesCount) -> SpeciesCount:
    """Return both counts of a species that was spelled in two ways, by its first spelling."""
    return SpeciesCount(
        one.species,
        one.count + other.count,
        one.kept + other.kept,
        one.returned + other.returned,
        one.trips + other.trips,
        one.from_diary + other.from_diary,
    )


def is_called(species: Species, name: str) -> bool:
    """Return whether somebody means a species by its FAO code or its scientific name."""
    called = name.casefold()
    return called == (species.fao_code or "").casefold() or called == species.scientific_name.casefold()


def count_of(text: str, name: str | None) -> int:
    """Return how many a column ``caught`` has, of one species by code or name where that is given."""
    rows = orjson.loads(text) if text else []
    if name is None:
        return sum(row[3] for row in rows)
    return sum(row[3] for row in rows if is_called(_species(*row[:3]), name))


def _write_tallies(tallies: Iterable[SpeciesTally]) -> str:
    rows = [[*_named(one.species), one.count, one.kept, one.returned] for one in tallies]
    return orjson.dumps(rows).decode() if rows else ""


def _write_longest(found: Iterable[Longest]) -> str:
    rows = [[*_named(one.species), one.length.cm, one.length.kind, one.length.precision_cm, one.at_us] for one in found]
    return orjson.dumps(rows).decode() if rows else ""


def _named(species: Species) -> tuple[str, str | None, str | None]:
    return species.scientific_name, species.fao_code, species.local_name


@lru_cache(maxsize=4096)
def _species(name: str, code: str | None, local: str | None) -> Species:
    return Species.model_construct(scientific_name=name, fao_code=code, local_name=local)
