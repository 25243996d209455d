"""Totals and seasons of the log, in answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
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
from service.usecases.insights import TotalsView
from service.usecases.seasons import MOST_NAMED, SeasonView, TripMark

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
    caught: Annotated[int, Field(description="Of the species asked for, or of all; coarse rows are in it.")]
    species: list[SpeciesSum]


class MonthOfSeason(Schema):
    """One month."""

    month: int
    trips: OutcomeCounts
    effort: LoggedEffort
    caught: int
    diary_rows: int
    diary_caught: int
    coarse_rod_h: float


class MarkOfSeason(Schema):
    """One mark."""

    mark_id: str
    name: str
    trips: OutcomeCounts
    effort: LoggedEffort
    caught: int
    diary_rows: int
    diary_caught: int


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
    date_local: DateText
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
    caught: int
    months: list[MonthOfSeason]
    species: list[SpeciesSum]
    marks: list[MarkOfSeason]
    best: Annotated[list[NamedTrip], Field(description=f"The {MOST_NAMED} trips that caught most.")]
    blank: Annotated[list[NamedTrip], Field(description=f"The last {MOST_NAMED} blanks.")]
    not_fished: list[UnfishedReason]
    firsts: list[FirstOfYear]
    longest: list[LongestOfYear]


def write_totals(view: TotalsView) -> dict[str, Any]:
    """Return totals as `Totals` has them."""
    purposes = dict.fromkeys(one.purpose for one in view.outcomes)
    diary = None
    if view.asked.purpose is None:
        diary = {
            "rows": _outcomes([one.outcome for one in view.rows]),
            "coarse_rod_h": hours(sum(one.coarse_us or 0 for one in view.rows)),
            "effort_unknown": sum(one.coarse_us is None for one in view.rows),
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


def _sums(found: Sequence[Any]) -> dict[str, Any]:
    """Return outcomes and effort of sums by outcome."""
    counts: Counter[str] = Counter()
    for one in found:
        counts[one.outcome] += one.trips
    unknown = sum(one.trips - one.told for one in found)
    effort = [sum(getattr(one, name) for one in found) for name in ("raw_us", "bait_on_us", "uncast_us")]
    return {"trips": _counted(counts), "effort": _effort(effort, unknown)}


def write_season(view: SeasonView) -> dict[str, Any]:
    """Return a season as `Season` has it."""
    months = [_part(view, lambda day, month=month: day.month == month, None) for month in range(1, 13)]
    marks = [(key, _part(view, None, key)) for key in view.marks]
    blanks = [TripMark(one, 0) for one in view.trips if one.outcome == "blank"]
    whole = _part(view, None, None)
    return {
        "year": view.year,
        **{name: whole[name] for name in ("trips", "effort", "caught")},
        "months": [{"month": number, **found} for number, found in enumerate(months, 1)],
        "species": write_species_sums(view.caught),
        "marks": [
            {
                "mark_id": key,
                "name": view.marks[key].document.name,
                **{name: value for name, value in found.items() if name != "coarse_rod_h"},
            }
            for key, found in sorted(marks, key=lambda pair: -pair[1]["trips"]["all"])
        ],
        "best": _named(view.best),
        "blank": _named(blanks[-MOST_NAMED:]),
        "not_fished": [
            {"why_not": why, "times": times} for why, times in sorted(view.why_not.items(), key=lambda pair: -pair[1])
        ],
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


def _part(view: SeasonView, within: Any, mark_id: str | None) -> dict[str, Any]:
    """Return what a part of a year adds up to: a month by its days, or a mark."""
    trips = [one for one in view.trips if _is_in(one, within, mark_id)]
    rows = [one for one in view.rows if _is_in(one, within, mark_id)]
    unknown = sum(one.raw_us is None for one in trips)
    effort = [sum(getattr(one, name) or 0 for one in trips) for name in ("raw_us", "bait_on_us", "uncast_us")]
    return {
        "trips": _outcomes([one.outcome for one in trips]),
        "effort": _effort(effort, unknown),
        "caught": sum(view.counts[one.caught] for one in trips),
        "diary_rows": len(rows),
        "diary_caught": sum(view.counts[one.caught] for one in rows),
        "coarse_rod_h": hours(sum(one.coarse_us or 0 for one in rows)),
    }


def _is_in(one: Any, within: Any, mark_id: str | None) -> bool:
    return (within is None or within(one.local_day)) and (mark_id is None or one.mark_id == mark_id)


def _named(found: Iterable[TripMark]) -> list[dict[str, Any]]:
    return [
        {
            "trip_id": one.trip.trip_id,
            "date_local": one.trip.local_day.isoformat(),
            "mark_id": one.trip.mark_id,
            "caught": one.count,
        }
        for one in found
    ]


def _outcomes(found: Sequence[str]) -> dict[str, int]:
    return _counted(Counter(found))


def _counted(counts: Counter[str]) -> dict[str, int]:
    names = ("fished", "blank", "not_fished")
    return {"all": sum(counts[name] for name in names), **{name: counts[name] for name in names}}


def _effort(parts_us: Sequence[int], unknown: int) -> dict[str, Any]:
    raw_us, bait_on_us, uncast_us = parts_us
    return {
        "raw_rod_h": hours(raw_us),
        "bait_on_h": hours(bait_on_us),
        "uncast_rod_h": hours(uncast_us),
        "effort_unknown": unknown,
    }
