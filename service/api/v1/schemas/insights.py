"""Totals and seasons of the log, in answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.log_sums import (
    CaughtSpecies,
    LoggedEffort,
    SpeciesSum,
    hours,
    write_species,
    write_species_sums,
)
from service.usecases.insights import OutcomeSum, TotalsView
from service.usecases.seasons import MOST_NAMED, SeasonPart, SeasonView, TripOfSeason

LengthKind = Literal["total", "fork", "wing_width", "carapace"]


class OutcomeCounts(Schema):
    """Trips, or coarse rows, by how they ended."""

    all: int
    fished: Annotated[int, Field(description="With something caught.")]
    blank: int
    not_fished: int


class PurposeTrips(Schema):
    """Trips of one purpose; match trips on drawn pegs are the least biased."""

    purpose: Literal["pleasure", "match", "scouting", "bait"]
    trips: OutcomeCounts
    effort: LoggedEffort


class DiarySum(Schema):
    """Coarse rows of old diaries."""

    rows: OutcomeCounts
    coarse_rod_h: Annotated[float, Field(description="Hours times rods, of the rows that say when.")]
    effort_unknown: Annotated[int, Field(description="Rows that were fished and do not say when.")]


class Totals(Schema):
    """What the log adds up to."""

    trips: OutcomeCounts
    effort: LoggedEffort
    by_purpose: list[PurposeTrips]
    diary: Annotated[DiarySum | None, Field(description="Null where a purpose is asked for: rows have none.")]
    caught: Annotated[
        int,
        Field(description="Of the species asked for, or of all, on trips and in coarse rows (`from_diary`)."),
    ]
    species: list[SpeciesSum]


class MonthOfSeason(Schema):
    """One month."""

    month: int
    trips: OutcomeCounts
    effort: LoggedEffort
    caught: Annotated[int, Field(description="On trips.")]
    diary_rows: int
    diary_caught: Annotated[int, Field(description="In coarse rows, beside `caught`.")]
    coarse_rod_h: float


class MarkOfSeason(Schema):
    """One mark."""

    mark_id: str
    name: str
    trips: OutcomeCounts
    effort: LoggedEffort
    caught: Annotated[int, Field(description="On trips.")]
    diary_rows: int
    diary_caught: Annotated[int, Field(description="In coarse rows, beside `caught`.")]


class NamedTrip(Schema):
    """A trip worth naming."""

    trip_id: str
    date_local: DateText
    mark_id: str
    caught: int


class UnfishedReason(Schema):
    """Why nobody fished, and how often."""

    why_not: Literal["weed", "surf", "spot_taken", "access_shut", "other"]
    times: int


class FirstOfYear(Schema):
    """The first of a species in the year."""

    species: CaughtSpecies
    date_local: Annotated[
        DateText,
        Field(description="Local day of the fish; after the end of the year where its trip went on for so long."),
    ]
    first_on_record: Annotated[bool, Field(description="Whether no earlier year has one, at the mark asked for.")]


class LongestOfYear(Schema):
    """The longest of a species in one kind of length."""

    species: CaughtSpecies
    length_cm: float
    length_kind: LengthKind
    precision_cm: float
    at: InstantText


class Season(Schema):
    """A year of the log on one page, by the local days of its marks."""

    year: int
    trips: OutcomeCounts
    effort: LoggedEffort
    caught: Annotated[int, Field(description="On trips; `species` counts coarse rows too.")]
    diary_rows: int
    diary_caught: Annotated[int, Field(description="In coarse rows, beside `caught`.")]
    coarse_rod_h: Annotated[float, Field(description="Hours times rods, of the rows that say when.")]
    months: list[MonthOfSeason]
    species: list[SpeciesSum]
    marks: list[MarkOfSeason]
    best: Annotated[list[NamedTrip], Field(description=f"The {MOST_NAMED} trips that caught most.")]
    blank: Annotated[list[NamedTrip], Field(description=f"The last {MOST_NAMED} blanks.")]
    not_fished: Annotated[list[UnfishedReason], Field(description="Why, of the trips that were not fished.")]
    firsts: list[FirstOfYear]
    longest: list[LongestOfYear]


def write_totals(view: TotalsView) -> dict[str, Any]:
    """Return totals as `Totals` has them."""
    purposes = dict.fromkeys(one.purpose for one in view.outcomes)
    diary = None
    if view.asked.purpose is None:
        diary = {
            "rows": _counted({one.outcome: one.trips for one in view.rows}),
            "coarse_rod_h": hours(sum(one.efforts_us[0] for one in view.rows)),
            "effort_unknown": sum(one.trips - one.told for one in view.rows),
        }
    return {
        **_sums(view.outcomes),
        "by_purpose": [
            {"purpose": name, **_sums([one for one in view.outcomes if one.purpose == name])} for name in purposes
        ],
        "diary": diary,
        "caught": sum(one.count for one in view.caught),
        "species": write_species_sums(view.caught),
    }


def _sums(found: Sequence[OutcomeSum]) -> dict[str, Any]:
    """Return outcomes and effort of sums by outcome."""
    counts: Counter[str] = Counter()
    for one in found:
        counts[one.outcome] += one.trips
    unknown = sum(one.trips - one.told for one in found)
    effort = [sum(one.efforts_us[place] for one in found) for place in range(3)]
    return {"trips": _counted(counts), "effort": _effort(effort, unknown)}


def write_season(view: SeasonView) -> dict[str, Any]:
    """Return a season as `Season` has it."""
    marks = sorted(((key, _part(part)) for key, part in view.marks.items()), key=lambda one: -one[1]["trips"]["all"])
    whole = _part(view.whole)
    return {
        "year": view.year,
        **whole,
        "months": [{"month": number, **_part(part)} for number, part in enumerate(view.months, 1)],
        "species": write_species_sums(view.caught),
        "marks": [
            {
                "mark_id": key,
                "name": view.names[key],
                **{name: value for name, value in found.items() if name != "coarse_rod_h"},
            }
            for key, found in marks
        ],
        "best": _named(view.best),
        "blank": _named(view.blank),
        "not_fished": [{"why_not": why, "times": times} for why, times in view.why_not],
        "firsts": [
            {
                "species": write_species(one.species),
                "date_local": one.day.isoformat(),
                "first_on_record": one.ever,
            }
            for one in view.firsts
        ],
        "longest": [
            {
                "species": write_species(one.species),
                "length_cm": one.length.cm,
                "length_kind": one.length.kind,
                "precision_cm": one.length.precision_cm,
                "at": write_instant(one.at_us, None),
            }
            for one in view.longest
        ],
    }


def _part(part: SeasonPart) -> dict[str, Any]:
    """Return what a part of a year adds up to: a month by its days, or a mark."""
    return {
        **_sums(part.trips),
        "caught": part.caught,
        "diary_rows": sum(one.trips for one in part.rows),
        "diary_caught": part.diary_caught,
        "coarse_rod_h": hours(sum(one.efforts_us[0] for one in part.rows)),
    }


def _named(found: Iterable[TripOfSeason]) -> list[dict[str, Any]]:
    return [
        {
            "trip_id": one.trip_id,
            "date_local": one.day.isoformat(),
            "mark_id": one.mark_id,
            "caught": one.caught,
        }
        for one in found
    ]


def _counted(counts: Mapping[str, int]) -> dict[str, int]:
    names = ("fished", "blank", "not_fished")
    found = {name: counts.get(name, 0) for name in names}
    return {"all": sum(found.values()), **found}


def _effort(parts_us: Sequence[int], unknown: int) -> dict[str, Any]:
    raw_us, bait_on_us, uncast_us = parts_us
    return {
        "raw_rod_h": hours(raw_us),
        "bait_on_h": hours(bait_on_us),
        "uncast_rod_h": hours(uncast_us),
        "effort_unknown": unknown,
    }
