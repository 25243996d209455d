"""Scenario cards: an invented mark, tide, sea and question, and what an old hand would answer, as data.

A card is written before what it asks is built, and argued from common practice. What it says of its own tide, light
and sea is checked against the numbers, so that a card cannot be about another evening than it claims.
"""

from __future__ import annotations

import json
from functools import cache, cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from tests.conftest import ROOT
from tests.scenarios.danger import HAZARD_KINDS, CardWarning, ExpectedOuting
from tests.scenarios.moments import Instant, is_instant, moment
from tidecore.conditions import ConditionIssue, Conditions
from tidecore.model import TideModel
from tidecore.place import Document, Mark, Name, Note, fault
from tidecore.rules import SpeciesRule
from tidecore.timeline import factors

FOLDER = Path(__file__).parent / "cards"
STARTERS = ROOT / "demo_stations" / "rules"
#: Rows are told on to the engine this often [s]: what lies further apart it takes for a gap.
_EVERY_S = 3 * 3600
#: Speeds of the two lines of a card's tide [degrees an hour].
_M2_SPEED, _S2_SPEED = 28.9841042, 30.0

#: What a card may say it is about.
GROUNDS = ("open_sand", "shingle", "estuary", "rock", "pier")
FISH = ("bass", "cod", "plaice", "sole", "ray", "mullet", "conger", "flounder", "whiting", "mackerel")
SEAS = ("calm", "gale", "aftermath")
TIDES = ("springs", "neaps")
LIGHTS = ("day", "dusk", "night")
CASES = ("slack_in_mid_session", "dst_change", "no_forecast", "unknown_lags")
ALSO = ("dab", "smooth_hound", "dawn", "weed", "two_marks", "access")
#: What the cards about safety are about.
DANGERS = (
    "swell_on_ledge",
    "sill_behind",
    "forecast_ends",
    "thunder",
    "shore_break",
    "alone",
    "cold",
    "fog",
    "unknown_datum",
    "official_warning",
    "soft_mud",
    "bathers",
    "overtopping",
    "wind_at_edge",
    "not_assessed",
)
TO_COVER = (*GROUNDS, *FISH, *SEAS, *TIDES, *LIGHTS, *CASES, *DANGERS)


def _two_sentences(argument: tuple[str, ...]) -> tuple[str, ...]:
    if len(argument) != 2 or not all(len(line) >= 40 and line.endswith(".") for line in argument):
        raise fault("is no argument", "two sentences, each with its full stop")
    return argument


def _known_factors(names: tuple[str, ...]) -> tuple[str, ...]:
    known = {*factors(), *BESIDE_FACTORS, *HAZARD_KINDS}
    strange = [name for name in names if name not in known]
    if strange:
        raise fault(f"names {', '.join(strange)}", "factors, events that a rule may be told by, or hazards")
    return names


#: What may stop a fish besides a factor: the event that a rule is told by, or what is fishable.
BESIDE_FACTORS = frozenset(
    {
        "low_water",
        "high_water",
        "sunrise",
        "sunset",
        "first_light",
        "last_light",
        "access_open",
        "fishable",
        "surf",
        "weed",
    }
)

Stoppers = Annotated[tuple[str, ...], Field(min_length=1), AfterValidator(_known_factors)]


class CardTide(Document):
    """A tide as an angler tells it: ranges, when high water falls at springs, how late springs come after the moon."""

    mean_spring_range_m: Annotated[float, Field(gt=0.0)]
    mean_neap_range_m: Annotated[float, Field(gt=0.0)]
    hw_at_springs_utc: Annotated[str, Field(pattern=r"^\d\d:\d\d$")]
    age_of_tide_days: float
    mean_level_m: float

    @property
    def hw_at_springs_h(self) -> float:
        """Hour of the day [UTC] of high water at springs."""
        hours, minutes = self.hw_at_springs_utc.split(":")
        return int(hours) + int(minutes) / 60

    @cached_property
    def model(self) -> TideModel:
        """The tide of two lines that has these springs and neaps.

        S2 follows the clock, so its lag is the hour of high water at springs; M2's is less by what the moon's line
        falls behind the sun's in the age of the tide.
        """
        springs, neaps = self.mean_spring_range_m, self.mean_neap_range_m
        sun = _S2_SPEED * self.hw_at_springs_h % 360.0
        moon = (sun - 24.0 * self.age_of_tide_days * (_S2_SPEED - _M2_SPEED)) % 360.0
        lines = {"M2": ((springs + neaps) / 4.0, moon), "S2": ((springs - neaps) / 4.0, sun)}
        return TideModel.from_constituents(
            lines, latitude=47.6, mean_level=self.mean_level_m, convention="utide", datum="card zero"
        )


class CardIssue(Document):
    """A forecast or what was seen: rows of values, straight lines between them."""

    kind: Literal["forecast", "observation"]
    source: Name
    issued_at: Instant
    valid_until: Instant | None = None
    waves_at: Literal["offshore", "at_mark"] | None = None
    wave_period_kind: Literal["peak", "energy", "zero_crossing"] | None = None
    columns: Annotated[tuple[Name, ...], Field(min_length=2)]
    rows: Annotated[tuple[tuple[Any, ...], ...], Field(min_length=2)]

    @model_validator(mode="after")
    def _square(self) -> Self:
        if self.columns[0] != "at" or any(len(row) != len(self.columns) for row in self.rows):
            raise fault("has rows unlike its columns", "an instant and a value for every column, in each row")
        times = [moment(is_instant(str(row[0]))) for row in self.rows]
        if times != sorted(set(times)):
            raise fault("runs backwards", "rows in ascending order")
        return self

    @property
    def times(self) -> list[np.datetime64]:
        """Instants of the rows."""
        return [moment(row[0]) for row in self.rows]

    def to_issue(self) -> ConditionIssue:
        """Return the issue as the engine takes it: every three hours between the rows, on straight lines."""
        given = [time.astype("datetime64[s]").astype(np.int64) for time in self.times]
        even = np.arange(given[0], given[-1] + 1, _EVERY_S)
        times = np.unique(np.concatenate((even, np.array(given, dtype=np.int64))))
        values: dict[str, list[Any]] = {}
        for name in self.columns[1:]:
            column = self.column(name) or []
            if isinstance(column[0], str):
                before = np.searchsorted(given, times, side="right") - 1
                values[name] = [column[k] for k in before]
            else:
                values[name] = np.interp(times, given, column).round(3).tolist()
        document = self.model_dump(mode="json", exclude={"columns", "rows"}, exclude_none=True)
        return ConditionIssue.parse(
            {**document, "times": [f"{np.datetime64(int(time), 's')}Z" for time in times], "values": values}
        )

    def column(self, name: str) -> list[Any] | None:
        """Return the values of one column, None if it has none."""
        return [row[self.columns.index(name)] for row in self.rows] if name in self.columns else None


class FreeHours(Document):
    """Hours of the wall clock on some days of the week; they may pass midnight."""

    weekdays: tuple[str, ...]
    from_: Annotated[str, Field(alias="from")]
    to: str


class Ask(Document):
    """The question: windows, or sessions from arrival to leaving; over which span, in which free hours."""

    as_: Annotated[Literal["windows", "sessions"], Field(alias="as")]
    start: Instant
    end: Instant
    free: tuple[FreeHours, ...] = ()
    travel_min: float = 0.0
    two_marks: bool = False
    between_min: float = 0.0
    #: Whether he goes alone, and was never there before; None where he does not say.
    alone: bool | None = None
    first_visit: bool | None = None


class FirstChoice(Document):
    """The best answer: its best hour lies in ``from`` to ``to``; ``holds`` lies in it whole."""

    mark: str
    rule: str
    from_: Annotated[Instant, Field(alias="from")]
    to: Instant
    holds: tuple[Instant, Instant] | None = None
    lulls: int | None = None
    legs: tuple[str, ...] = ()


class LastChoice(Document):
    """What is not chosen, and what it is stopped by.

    ``not_offered``: nothing there. ``clearly_less``: nothing, or at most 0.8 of the first choice. ``unfishable``: not
    offered, or with that verdict. ``unassessed``: may be offered, with what is unknown named and no verdict on it.
    ``dangerous``: not offered, or marked as a danger; ``stopped_by`` names the hazards then.
    """

    mark: str
    rule: str
    outcome: Literal["not_offered", "clearly_less", "unfishable", "unassessed", "dangerous"]
    stopped_by: Stoppers
    from_: Annotated[Instant | None, Field(alias="from")] = None
    to: Instant | None = None
    fishable: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _stopped_by_its_like(self) -> Self:
        if self.outcome == "dangerous" and set(self.stopped_by) - set(HAZARD_KINDS):
            raise fault("is dangerous by what is no hazard", f"some of {', '.join(HAZARD_KINDS)}")
        return self


class Claim(Document):
    """One thing that must be said, or must not; which fields it has says what."""

    words: str | None = None
    unknown: str | None = None
    say: str | None = None
    limiting: str | None = None
    first_at: str | None = None
    answers_more_than: int | None = None
    offer: dict[str, str] | None = None
    known_after: dict[str, str] | None = None
    verdict: Literal["safe", "fishable"] | None = None
    values: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _one(self) -> Self:
        said = [name for name in type(self).model_fields if name != "values" and getattr(self, name) is not None]
        if len(said) != 1 or (self.verdict is None) != (not self.values):
            raise fault(f"says {', '.join(said) or 'nothing'}", "one thing")
        return self


class Expected(Document):
    """What an old hand would say."""

    first: FirstChoice
    last: LastChoice
    reason: Annotated[str, Field(min_length=40)]
    must_say: tuple[Claim, ...]
    must_not: Annotated[tuple[Claim, ...], Field(min_length=1)]
    outings: tuple[ExpectedOuting, ...] = ()


class Card(Document):
    """One scenario, complete."""

    title: Name
    covers: Annotated[tuple[str, ...], Field(min_length=3)]
    argument: Annotated[tuple[str, ...], AfterValidator(_two_sentences)]
    tide: CardTide
    marks: Annotated[dict[str, dict[str, Any]], Field(min_length=1)]
    rules: Annotated[dict[str, dict[str, Any]], Field(min_length=1)]
    conditions: dict[str, tuple[CardIssue, ...]] | None
    warnings: tuple[CardWarning, ...] = ()
    ask: Ask
    expect: Expected
    notes: Note = ""
    #: Why the card was changed after it was first written, where it was.
    changed: Note = ""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        strange = set(self.covers) - {*TO_COVER, *ALSO}
        if strange:
            raise fault(f"covers {', '.join(sorted(strange))}", f"some of {', '.join((*TO_COVER, *ALSO))}")
        for choice in (self.expect.first, self.expect.last):
            if choice.mark not in self.marks or choice.rule not in self.rules:
                raise fault(f"expects {choice.rule} at {choice.mark}", "a mark and a rule of the card")
        if self.conditions is not None and set(self.conditions) - set(self.marks):
            raise fault("has conditions elsewhere", "conditions at marks of the card")
        if {one.mark for one in self.expect.outings} - set(self.marks):
            raise fault("expects outings elsewhere", "outings to marks of the card")
        if set(self.covers) & set(DANGERS) - {"forecast_ends"} and not self.expect.outings:
            raise fault("is about a danger and expects nothing of any outing", "outings, and what is found of them")
        return self

    @property
    def about_safety(self) -> bool:
        """Whether it says what must be found of the safety of outings."""
        return bool(self.expect.outings)

    @property
    def span(self) -> tuple[np.datetime64, np.datetime64]:
        """The span asked about."""
        return moment(self.ask.start), moment(self.ask.end)

    @property
    def first_span(self) -> tuple[np.datetime64, np.datetime64]:
        """Where the first choice has its best hour."""
        return moment(self.expect.first.from_), moment(self.expect.first.to)

    @property
    def last_span(self) -> tuple[np.datetime64, np.datetime64]:
        """Where the last choice would lie: the whole span unless the card says."""
        start, end = self.span
        last = self.expect.last
        return (start if last.from_ is None else moment(last.from_)), (end if last.to is None else moment(last.to))

    @cached_property
    def kept(self) -> dict[tuple[str, str, str], Any]:
        """What was worked out of the card for its tests, by whoever did."""
        return {}

    def mark(self, ref: str) -> Mark:
        """Return a mark of the card."""
        return Mark.parse(self.marks[ref])

    def conditions_at(self, ref: str) -> Conditions | None:
        """Return what is known of sea and air at a mark of the card; None where nobody says anything."""
        issues = () if self.conditions is None else self.conditions.get(ref, ())
        mark = self.marks[ref]
        warnings = [one.to_warning(mark["latitude"], mark["longitude"]) for one in self.warnings]
        return Conditions.of([issue.to_issue() for issue in issues], warnings) if issues or warnings else None

    def rule(self, ref: str) -> SpeciesRule:
        """Return a rule of the card: its own, or the starter rule that it names."""
        document = self.rules[ref]
        if set(document) == {"starter"}:
            return SpeciesRule.parse(starters()[document["starter"]])
        return SpeciesRule.parse(document)


@cache
def starters() -> dict[str, dict[str, Any]]:
    """Return the starter rules by the names of their files."""
    return {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted(STARTERS.glob("*.json"))}


@cache
def cards() -> dict[str, Card]:
    """Return every card by the name of its file, checked whole."""
    return {
        path.stem: Card.parse(json.loads(path.read_text(encoding="utf-8"))) for path in sorted(FOLDER.glob("*.json"))
    }
