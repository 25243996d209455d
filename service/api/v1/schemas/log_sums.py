"""What summaries of the log have in common: effort, species, rates, in answers."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.media import number
from service.api.v1.schemas.common import Schema
from service.usecases.tallies import SpeciesCount
from tidecore.catchstats import CatchRate
from tidecore.rules import Species
from tidecore.timebase import US_PER_HOUR


class CaughtSpecies(Schema):
    """A species as it was logged."""

    scientific_name: str
    fao_code: str | None
    local_name: str | None


class SpeciesSum(Schema):
    """How many of a species."""

    species: CaughtSpecies
    count: int
    kept: Annotated[int, Field(description="Of those on trips; of coarse rows it is not known.")]
    returned: int
    trips: Annotated[int, Field(description="Trips that caught it.")]
    from_diary: Annotated[int, Field(description="Of the count, how many are of coarse rows.")]


class LoggedEffort(Schema):
    """Effort of the trips on which rods are on record."""

    raw_rod_h: Annotated[float, Field(description="Hours that rods were in use.")]
    bait_on_h: Annotated[float, Field(description="Hours that baits were in the water, where casts are on record.")]
    uncast_rod_h: Annotated[float, Field(description="Of raw_rod_h, hours of rods without casts on record.")]
    effort_unknown: Annotated[int, Field(description="Trips that were fished with no rod on record.")]


class RateSchema(Schema):
    """Catches per hour, pooled over trips, with exact limits."""

    count: int
    effort_h: float
    per_hour: float | None
    lower: Annotated[float | None, Field(description="Exact Poisson limit (Garwood 1936), as if fish came one by one.")]
    upper: float | None
    dispersion: Annotated[float | None, Field(description="Variance over mean, from how trips differ; null: unknown.")]
    wide_lower: Annotated[float | None, Field(description="Limit widened by the dispersion.")]
    wide_upper: float | None
    trips: Annotated[int, Field(description="Trips (or coarse rows) that were fished, their effort known.")]
    blanks: Annotated[int, Field(description="Of these, how many caught none of what is asked.")]
    effort_unknown: Annotated[int, Field(description="Those whose effort is not known: left out of the rate.")]
    uncounted: Annotated[int, Field(description="What those caught.")]
    evidence: Literal["none", "thin", "fair"]
    words: Annotated[str, Field(description="What the evidence is worth.")]


def write_species(one: Species) -> dict[str, Any]:
    """Return a species as `CaughtSpecies` has it."""
    return {"scientific_name": one.scientific_name, "fao_code": one.fao_code, "local_name": one.local_name}


def write_species_sums(found: Iterable[SpeciesCount]) -> list[dict[str, Any]]:
    """Return counts by species, each as `SpeciesSum` has it."""
    return [
        {
            "species": write_species(one.species),
            "count": one.count,
            "kept": one.kept,
            "returned": one.returned,
            "trips": one.trips,
            "from_diary": one.from_diary,
        }
        for one in found
    ]


def hours(us: int | float) -> float:
    """Return microseconds as hours, to a second."""
    return round(us / US_PER_HOUR, 4)


def write_rate(found: CatchRate) -> dict[str, Any]:
    """Return a rate as `RateSchema` has it."""
    return {
        "count": found.count,
        "effort_h": number(found.effort_h, 4),
        "per_hour": _digits(found.per_hour),
        "lower": _digits(found.lower),
        "upper": _digits(found.upper),
        "dispersion": _digits(found.dispersion),
        "wide_lower": _digits(found.wide_lower),
        "wide_upper": _digits(found.wide_upper),
        "trips": found.trips,
        "blanks": found.blanks,
        "effort_unknown": found.effort_unknown,
        "uncounted": found.uncounted,
        "evidence": found.evidence,
        "words": found.words,
    }


def _digits(value: float) -> float | None:
    """Return five digits of what may be large or small."""
    return float(f"{value:.5g}") if math.isfinite(value) else None
