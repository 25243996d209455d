"""Coarse rows of old diaries: a date, a mark, roughly when, how many rods, what was caught."""

from __future__ import annotations

import datetime
import re
import zoneinfo
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from tidecore.calendars import DateRange, Hours, WeeklyHours, clock_changes, holds_at, intersection, spans
from tidecore.calendars.patterns import CalendarDate
from tidecore.catchlog.moments import Count, Some
from tidecore.catchlog.trip import WhyNot
from tidecore.documents import Document, Flaw, Name, Note, Number, fault, refuse, shown
from tidecore.errors import Fault, InvalidInput
from tidecore.rules import Species
from tidecore.timebase import US_PER_HOUR, TimeSpan, from_microseconds
from tidecore.units import IntArray

#: Farthest from high or low water [h].
FARTHEST_H = 13.0
_DAY_MIN = 24 * 60

_NUMBER = r"([+-]?\s*\d{1,2}(?:[.,]\d{1,2})?)\s*h?"
_TIDE_HOURS = re.compile(rf"(HW|LW)\s*{_NUMBER}\s*(?:to|\.\.)\s*{_NUMBER}", re.IGNORECASE)


class TideHours(Document):
    """Hours about a high or low water, before it negative; ``which`` of two on the day, where the diary says so."""

    event: Literal["high_water", "low_water"]
    from_h: Annotated[Number, Field(ge=-FARTHEST_H, le=FARTHEST_H)]
    to_h: Annotated[Number, Field(ge=-FARTHEST_H, le=FARTHEST_H)]
    which: Literal["first", "second"] | None = None

    @field_validator("to_h")
    @classmethod
    def _later(cls, to_h: float, info: ValidationInfo) -> float:
        if to_h <= info.data.get("from_h", -np.inf):
            raise fault(f"is {to_h:g}, not after from_h {info.data['from_h']:g}", "a later hour of the tide")
        return to_h


def read_tide_hours(text: str, field: str = "tide") -> TideHours:
    """Return what ``"HW -2 to +2"`` or ``"LW -1.5..+3"`` says.

    Raises
    ------
    InvalidInput
        If it says no hours about a high or low water, or says them backwards.

    Examples
    --------
    >>> read_tide_hours("HW -2 to +2").to_h
    2.0
    """
    found = _TIDE_HOURS.fullmatch(text.strip().replace("\N{MINUS SIGN}", "-"))
    if found is None:
        raise InvalidInput(Fault(field, f"is {shown(text)}", "hours about high or low water, as 'HW -2 to +2'"))
    start, end = (float(part.replace(" ", "").replace(",", ".")) for part in found.groups()[1:])
    event = "high_water" if found[1].upper() == "HW" else "low_water"
    try:
        return TideHours.parse({"event": event, "from_h": start, "to_h": end})
    except InvalidInput as error:
        raise InvalidInput([Fault(field, one.problem, one.expected) for one in error.faults]) from error


class Tally(Document):
    """How many of one species."""

    species: Species
    count: Count


def _each_once(tallies: tuple[Tally, ...]) -> tuple[Tally, ...]:
    names = [one.species.scientific_name.casefold() for one in tallies]
    again = [place for place, name in enumerate(names) if name in names[:place]]
    refuse(tallies, [Flaw((place, "species"), "is told of already", "every species once") for place in again])
    return tallies


class DiaryRow(Document):
    """One row of an old diary. When is told by the clocks of the mark (``hours``) or by the tide, not by both."""

    date: CalendarDate
    mark: Name
    hours: Hours | None = None
    tide: Annotated[TideHours | None, Field(validate_default=True)] = None
    rods: Some = 1
    caught: Annotated[tuple[Tally, ...], Field(max_length=50), AfterValidator(_each_once)] = ()
    outcome: Literal["fished", "blank", "not_fished"]
    why_not: Annotated[WhyNot | None, Field(validate_default=True)] = None
    notes: Note = ""

    @field_validator("tide")
    @classmethod
    def _one_of_both(cls, tide: TideHours | None, info: ValidationInfo) -> TideHours | None:
        if tide is not None and info.data.get("hours") is not None:
            raise fault("is given beside hours", "one of the two")
        return tide

    @field_validator("outcome")
    @classmethod
    def _as_counted(cls, outcome: str, info: ValidationInfo) -> str:
        number = sum(one.count for one in info.data.get("caught", ()))
        if outcome != "fished" and number:
            raise fault(f"is {outcome} with {number} caught", "fished, or nothing caught")
        return outcome

    @field_validator("why_not")
    @classmethod
    def _of_what_was_not(cls, why: WhyNot | None, info: ValidationInfo) -> WhyNot | None:
        if info.data.get("outcome", "not_fished") != "not_fished" and why is not None:
            raise fault(f"is {why} of a trip that was fished", "null, or the outcome not_fished")
        return why


@dataclass(frozen=True, slots=True)
class CoarseEffort:
    """What a row tells of effort: always coarse.

    ``spans_us`` are its spans [microseconds since 1970], shape ``(n, 2)``; ``rod_hours`` is NaN where the row does not
    say when; ``notes`` name what is not sure.
    """

    spans_us: IntArray
    rod_hours: float
    notes: tuple[str, ...]


def coarse_effort(row: DiaryRow, zone: zoneinfo.ZoneInfo, waters_us: IntArray | None = None) -> CoarseEffort:
    """Return the rod-hours of a row: hours times rods.

    Parameters
    ----------
    row : DiaryRow
        Its date and hours are by the clocks of ``zone``; hours past midnight end on the day after.
    zone : ZoneInfo
        That of the mark. Where hours begin or end at a time that its clocks show twice, the fewer hours count and
        there are no spans.
    waters_us : int64 array, optional
        The high or low waters, as the row names, of at least its date [microseconds since 1970, ascending]. Of two on
        its date it is not known which is meant, unless the row says: the hours count once, and there are no spans.
        Without them, or with none on the date, there are none either.
    """
    nowhere: IntArray = np.empty((0, 2), dtype=np.int64)
    if row.outcome == "not_fished":
        return CoarseEffort(nowhere, 0.0, ("not fished: no effort",))
    day = datetime.date.fromisoformat(row.date)
    after = day + datetime.timedelta(days=2)
    around = TimeSpan(np.datetime64(day) - np.timedelta64(1, "D"), np.datetime64(after))
    date = (DateRange.parse({"from": row.date, "to": row.date}),)
    if row.hours is not None:
        found = spans(WeeklyHours(hours=row.hours, dates=date), zone, around)
        if not len(found):
            return CoarseEffort(nowhere, float("nan"), ("the clocks skip these hours on the day: effort unknown",))
        twice, more_h = _shown_twice(row.hours, day, zone)
        if twice:
            start, end = row.hours.minutes
            least_h = (end - start) % _DAY_MIN / 60.0
            note = (
                f"the clocks show {' and '.join(twice)} twice on the day: which is meant is not known, {least_h:g} or "
                f"{least_h + more_h:g} h; the fewer are counted"
            )
            return CoarseEffort(nowhere, least_h * row.rods, (note,))
        notes = tuple(
            f"the clocks change on the day: hours are those that passed ({float(_hours(found)):g} h)"
            for change in clock_changes(zone, around)
            if len(intersection(found, _about(change.time_us)))
        )
        return CoarseEffort(found, _hours(found) * row.rods, notes)
    if row.tide is None:
        return CoarseEffort(nowhere, float("nan"), ("it is not said when: effort unknown",))
    length = row.tide.to_h - row.tide.from_h
    whole_day = spans(WeeklyHours(dates=date), zone, around)
    given = np.empty(0, dtype=np.int64) if waters_us is None else waters_us
    on_it = [int(at) for at in given[holds_at(whole_day, given)]]
    if row.tide.which is not None:
        place = ("first", "second").index(row.tide.which)
        on_it = on_it[place : place + 1]
    if len(on_it) != 1:
        if on_it:
            note = f"{len(on_it)} such waters on the day: which was fished is not known"
        elif waters_us is None:
            note = "the water of the day is not given"
        else:
            which = "" if row.tide.which is None else f"{row.tide.which} "
            note = f"the day has no {which}such water: when is not known"
        return CoarseEffort(nowhere, length * row.rods, (note,))
    edges = [on_it[0] + round(hours * US_PER_HOUR) for hours in (row.tide.from_h, row.tide.to_h)]
    return CoarseEffort(np.array([edges], dtype=np.int64), length * row.rods, ())


def _shown_twice(hours: Hours, day: datetime.date, zone: zoneinfo.ZoneInfo) -> tuple[list[str], float]:
    """Return the ends of hours that the clocks show twice, and how many hours lie between the two times.

    Of a whole day nothing is unsure: it lasts as long as it lasts.
    """
    start, end = hours.minutes
    found, apart_h = [], 0.0
    for text, minutes in ((hours.from_, start), (hours.to, end if end > start else end + _DAY_MIN)):
        at = datetime.datetime.combine(day, datetime.time()) + datetime.timedelta(minutes=minutes)
        first, second = (at.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
        if first is not None and second is not None and first > second and hours.minutes != (0, _DAY_MIN):
            found.append(text)
            apart_h = (first - second) / datetime.timedelta(hours=1)
    return found, apart_h


def _hours(found: IntArray) -> float:
    return float((found[:, 1] - found[:, 0]).sum()) / US_PER_HOUR


def _about(at_us: int) -> IntArray:
    """Return the hour on either side of a change of the clocks, in which a time of the clock may be told twice."""
    return np.array([[at_us - US_PER_HOUR, at_us + US_PER_HOUR]], dtype=np.int64)


def days_of(times_us: IntArray, zone: zoneinfo.ZoneInfo) -> tuple[datetime.date, ...]:
    """Return the local day of each instant [microseconds since 1970]."""
    stamps = from_microseconds(times_us).astype("datetime64[us]").tolist()
    return tuple(stamp.replace(tzinfo=datetime.UTC).astimezone(zone).date() for stamp in stamps)
