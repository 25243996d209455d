"""What a trip or a diary row adds up to, as columns beside its document: so totals need not read the documents."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

import orjson

from service.storage.repositories.documents import Link
from tidecore.catchlog import (
    Catch,
    DiaryRow,
    Longest,
    SpeciesTally,
    TripRecord,
    coarse_effort,
    effort_on_record,
    longest_of,
    tally_catches,
    tally_row,
)
from tidecore.rules import Species
from tidecore.timebase import US_PER_HOUR

#: A species as it was spelled: scientific name, FAO code, local name.
Named = tuple[str, str | None, str | None]


@dataclass(frozen=True, slots=True)
class SpeciesCount:
    """How many of a species, kept and returned, on how many trips; ``from_diary`` of them in coarse rows."""

    species: Species
    count: int
    kept: int
    returned: int
    trips: int
    from_diary: int


def trip_sums(record: TripRecord, more: Sequence[Catch] = ()) -> Mapping[str, Link]:
    """Return the columns that sum up a trip, with more catches after its own."""
    effort, catches = effort_on_record(record), (*record.catches, *more)
    return {
        "purpose": record.trip.purpose,
        "why_not": record.trip.why_not,
        "raw_us": None if effort is None else effort.raw_us,
        "bait_on_us": None if effort is None else effort.bait_on_us,
        "uncast_us": None if effort is None else effort.uncast_us,
        "caught": _write_tallies(tally_catches(catches)) if catches else "",
        "bests": _write_longest(longest_of(catches)) if catches else "",
    }


def diary_sums(row: DiaryRow, zone: ZoneInfo) -> Mapping[str, Link]:
    """Return the columns that sum up a coarse row; ``zone`` is that of its mark."""
    hours = coarse_effort(row, zone).rod_hours
    return {
        "why_not": row.why_not,
        "coarse_us": None if hours != hours else round(hours * US_PER_HOUR),
        "caught": _write_tallies(tally_row(row)),
    }


def _write_tallies(tallies: Iterable[SpeciesTally]) -> str:
    rows = [[*_named(one.species), one.count, one.kept, one.returned] for one in tallies]
    return orjson.dumps(rows).decode() if rows else ""


def _write_longest(found: Iterable[Longest]) -> str:
    rows = [[*_named(one.species), one.length.cm, one.length.kind, one.length.precision_cm, one.at_us] for one in found]
    return orjson.dumps(rows).decode() if rows else ""


def _named(species: Species) -> Named:
    return species.scientific_name, species.fao_code, species.local_name


@lru_cache(maxsize=4096)
def species_named(named: Named) -> Species:
    """Return the species that was spelled so."""
    name, code, local = named
    return Species.model_construct(scientific_name=name, fao_code=code, local_name=local)
