"""Two rods side by side, in requests and answers."""

from __future__ import annotations

import dataclasses
import math
import zoneinfo
from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BeforeValidator, ConfigDict, Field, ValidationInfo, field_validator, model_validator

from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import InstantText, Schema, whole
from service.api.v1.schemas.rate_comparisons import RateComparisonSchema, write_rate_comparison
from service.api.v1.schemas.session_search import ZoneName
from service.usecases.two_rods import TwoRodQuestion, TwoRodView
from tidecore.calendars import merged
from tidecore.catchlog.moments import Moment, ticks, written
from tidecore.catchstats import BASES, Habits, RodLog
from tidecore.catchstats.two_rods import Advice, Hindrance
from tidecore.documents import SOME, Document, Flaw, Name, Number, fault, refuse
from tidecore.timebase import US_PER_HOUR

EXAMPLE: dict[str, Any] = {
    "now": "2026-06-03T21:00:00Z",
    "rods": [
        {
            "rod": "near",
            "casts": [
                {"out": "2026-06-03T19:30:00Z", "in": "2026-06-03T19:52:00Z"},
                {"out": "2026-06-03T19:56:00Z", "in": "2026-06-03T20:18:00Z"},
                {"out": "2026-06-03T20:22:00Z"},
            ],
            "catches": ["2026-06-03T20:49:00Z", "2026-06-03T20:56:00Z"],
            "bites": ["2026-06-03T20:10:00Z"],
            "changes": [{"at": "2026-06-03T19:54:00Z", "what": "bait"}],
        },
        {"rod": "far", "casts": [{"out": "2026-06-03T19:35:00Z", "in": "2026-06-03T20:30:00Z"},
                                 {"out": "2026-06-03T20:33:00Z"}]},
    ],
}  # fmt: skip
#: Most casts of one rod, most of its fish, of its bites and of its changes.
MOST = 1000
#: What the numbers of the advice are worth.
CAUTION = (
    "Habits marked as common practice have no source; the others are choices of ours. A chance is what the counts say "
    "under a weak prior, and no promise: fish come in bursts."
)

ChangeKind = Literal["range", "bait", "rig", "other"]


class RodCast(Document):
    """A cast: in the water from ``out`` to ``in``, still in it where that is left out."""

    out: Moment
    in_: Annotated[Moment | None, Field(alias="in")] = None

    @model_validator(mode="after")
    def _in_after_out(self) -> RodCast:
        if self.in_ is not None and self.in_ <= self.out:
            problem = f"is {written(self.in_)}, not after out {written(self.out)}"
            refuse(self, [Flaw(("in",), problem, "a time after the bait went out, or none while it is in the water")])
        return self


class RodChange(Document):
    """What was changed on a rod, and when: range, bait, rig, or something other or more than one of them."""

    at: Moment
    what: ChangeKind


class Rod(Document):
    """One rod: when its bait was in the water, its fish, its bites that landed nothing, and what was changed on it."""

    rod: Name
    aim: Annotated[Name | None, Field(description="What it is for, where that is something of its own.")] = None
    casts: Annotated[tuple[RodCast, ...], Field(max_length=MOST, json_schema_extra=SOME)]
    catches: Annotated[tuple[Moment, ...], Field(max_length=MOST, description="When each fish came in.")] = ()
    bites: Annotated[tuple[Moment, ...], Field(max_length=MOST, description="Those that landed nothing.")] = ()
    changes: Annotated[tuple[RodChange, ...], Field(max_length=MOST)] = ()

    @field_validator("casts")
    @classmethod
    def _one_after_the_other(cls, casts: tuple[RodCast, ...]) -> tuple[RodCast, ...]:
        if not casts:
            raise fault("is empty: when the bait was in the water is not known", "one cast at least")
        refuse(casts, list(_too_early(casts)))
        return casts

    def log(self, now_us: int) -> RodLog:
        """Return what the rod did, as rods are compared by it; a bait still in the water is so up to now."""
        spans = [(ticks(one.out), now_us if one.in_ is None else ticks(one.in_)) for one in self.casts]
        last = max(self.changes, key=lambda one: one.at, default=None)
        return RodLog(
            name=self.rod,
            bait_on=merged(np.array(spans, dtype=np.int64)),
            catches=np.array([ticks(one) for one in self.catches], dtype=np.int64),
            bites=np.array([ticks(one) for one in self.bites], dtype=np.int64),
            aim=self.aim or "",
            last_change=None if last is None or last.what == "other" else last.what,
            changed_us=None if last is None else ticks(last.at),
        )

    def later_than(self, now: Any) -> Iterator[Flaw]:
        """Give a flaw for every time that lies after ``now``."""
        times: list[tuple[tuple[str | int, ...], Any]] = []
        for place, cast in enumerate(self.casts):
            times += [(("casts", place, "out"), cast.out), (("casts", place, "in"), cast.in_)]
        times += [(("catches", place), one) for place, one in enumerate(self.catches)]
        times += [(("bites", place), one) for place, one in enumerate(self.bites)]
        times += [(("changes", place, "at"), one.at) for place, one in enumerate(self.changes)]
        for path, at in times:
            if at is not None and at > now:
                yield Flaw(path, f"is {written(at)}, after now, {written(now)}", "a time up to now")


def _too_early(casts: tuple[RodCast, ...]) -> Iterator[Flaw]:
    for place, (before, cast) in enumerate(pairwise(casts), 1):
        if before.in_ is None:
            yield Flaw((place - 1, "in"), "is missing of a cast with another after it", "when the bait came in")
        elif cast.out < before.in_:
            problem = f"is {written(cast.out)}, before the cast before it is in at {written(before.in_)}"
            yield Flaw((place, "out"), problem, "casts of one rod one after the other")


Minutes = Annotated[Number, Field(gt=0.0, le=1440.0)]


class HabitsBody(Document):
    """When to judge and what counts; those left out are common practice or choices of ours, as the answer says."""

    judge_min: Annotated[Minutes | None, Field(description="Bait-on time of both before a change is judged.")] = None
    quick_fish: Annotated[
        int | None,
        Field(strict=True, ge=2, le=50, description="So many quick fish mean double up."),
        BeforeValidator(whole),
    ] = None
    quick_min: Annotated[Minutes | None, Field(description="Quick fish come no further apart.")] = None
    burst_min: Annotated[Minutes | None, Field(description="Fish no further apart than this are one burst.")] = None
    memory_min: Annotated[Minutes | None, Field(description="Older time is forgotten.")] = None
    sure: Annotated[
        Number | None, Field(gt=0.5, lt=1.0, description="The chance from which a rod is held for the better.")
    ] = None
    fast_per_h: Annotated[
        Number | None,
        Field(gt=0.0, le=1000.0, description="Bites and fish an hour from which one rod is enough."),
    ] = None

    @property
    def given(self) -> dict[str, Any]:
        """The habits that are given."""
        return self.model_dump(exclude_none=True)


class TwoRodQuestionBody(Document):
    """Two rods of one session, and when it is asked."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]}, title="TwoRodQuestion")

    now: Annotated[Moment, Field(description="When it is asked.")]
    rods: Annotated[tuple[Rod, ...], Field(json_schema_extra={"minItems": 2, "maxItems": 2})]
    hindrances: Annotated[
        tuple[Hindrance, ...], Field(max_length=3, description="What makes two rods too many, as the angler sees it.")
    ] = ()
    habits: HabitsBody | None = None
    tz: ZoneName = None

    @field_validator("rods")
    @classmethod
    def _two_of_them(cls, rods: tuple[Rod, ...], info: ValidationInfo) -> tuple[Rod, ...]:
        if len(rods) != 2:
            count = "is one rod" if len(rods) == 1 else f"are {len(rods)} rods"
            raise fault(count, "two rods: one is compared with the other")
        flaws = []
        if rods[0].rod == rods[1].rod:
            flaws.append(Flaw((1, "rod"), "is that of the first", "two rods with names of their own"))
        now = info.data.get("now")
        if now is not None:
            for place, rod in enumerate(rods):
                flaws += [one._replace(path=(place, *one.path)) for one in rod.later_than(now)]
        refuse(rods, flaws)
        return rods

    def question(self) -> TwoRodQuestion:
        """Return what is asked."""
        now, given = ticks(self.now), {} if self.habits is None else self.habits.given
        one, other = (rod.log(now) for rod in self.rods)
        return TwoRodQuestion(one, other, now, self.hindrances, Habits(**given), frozenset(given))


class RodSideSchema(Schema):
    """One rod: what it had in the time both baits were in, and what lies outside that."""

    rod: str
    bait_on_h: Annotated[float, Field(description="Bait-on time of this rod, of the other's and of all before too.")]
    fish: Annotated[int, Field(description="In the time compared; so are bursts and bites.")]
    bursts: Annotated[int, Field(description="Bursts that the fish came in.")]
    bites: Annotated[int, Field(description="That landed nothing.")]
    fish_left_out: Annotated[int, Field(description="Fish outside the time compared.")]
    bites_left_out: int


class OverDispersionSchema(Schema):
    """How far fish came in bursts, which are counted once in the chance."""

    fish: int
    bursts: int
    fish_per_burst: Annotated[float | None, Field(description="Null without fish.")]
    words: str


class HabitSchema(Schema):
    """One threshold of the advice, and whose it is."""

    name: str
    value: float
    basis: Literal["common practice", "a choice of ours", "given"]


class TwoRodAnswer(Schema):
    """What to do with two rods, how sure that is, and what would tell more."""

    at: InstantText
    advice: Advice
    rod: Annotated[str | None, Field(description="The rod to be changed or moved, or taken in; null where none is.")]
    change: Annotated[Literal["range", "bait", "rig"] | None, Field(description="What to change on it, nothing else.")]
    why: str
    better: Annotated[str | None, Field(description="The rod that seems to do better; null where neither does.")]
    chance: Annotated[
        float | None,
        Field(
            description="That it does better than the other, bursts counted once, under a weak prior; 0.5 is none the "
            "wiser. Of double_up: that of the burst alone. Null where the two are not compared."
        ),
    ]
    tell_more: str
    compared_since: Annotated[InstantText, Field(description="What is older is forgotten, or from before a change.")]
    shared_h: Annotated[float, Field(description="Time since then with both baits in [h]; nothing else is compared.")]
    rods: list[RodSideSchema]
    by_fish: Annotated[
        RateComparisonSchema | None,
        Field(description="Fish of the first over those of the second, as if each came for itself; null without time."),
    ]
    by_bites: Annotated[RateComparisonSchema | None, Field(description="The same of bites.")]
    over_dispersion: OverDispersionSchema
    habits: list[HabitSchema]
    remarks: Annotated[list[str], Field(description="What the record leaves open.")]
    caution: str


class TripTwoRods(TwoRodAnswer):
    """What to do with two rods of a trip, by its record."""

    trip_id: str
    trip_version: int


def write_trip_two_rods(view: TwoRodView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return what to do as `TripTwoRods` has it."""
    assert view.trip is not None
    record = view.trip.record
    return {**write_two_rods(view, zone), "trip_id": record.id, "trip_version": record.version}


def write_two_rods(view: TwoRodView, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return what to do as `TwoRodAnswer` has it."""
    found, question = view.advice, view.question
    return {
        "at": write_instant(question.now_us, zone),
        "advice": found.advice,
        "rod": found.rod or None,
        "change": found.change,
        "why": found.why,
        "better": found.better or None,
        "chance": number(found.chance, 3),
        "tell_more": found.tell_more,
        "compared_since": write_instant(found.since_us, zone),
        "shared_h": number(found.shared_h, 4),
        "rods": [
            {
                "rod": side.name,
                "bait_on_h": number(totals.bait_on_us / US_PER_HOUR, 4),
                "fish": side.fish,
                "bursts": side.bursts,
                "bites": side.bites,
                "fish_left_out": totals.fish_left_out,
                "bites_left_out": totals.bites_left_out,
            }
            for side, totals in zip(found.sides, view.totals, strict=True)
        ],
        "by_fish": None if found.by_fish is None else write_rate_comparison(found.by_fish),
        "by_bites": None if found.by_bites is None else write_rate_comparison(found.by_bites),
        "over_dispersion": _write_bursts(view),
        "habits": [
            {
                "name": name,
                "value": number(value, 6),
                "basis": "given" if name in question.given else BASES[name],
            }
            for name, value in dataclasses.asdict(question.habits).items()
        ],
        "remarks": list(view.remarks),
        "caution": CAUTION,
    }


def _write_bursts(view: TwoRodView) -> dict[str, Any]:
    fish, bursts = (sum(getattr(side, name) for side in view.advice.sides) for name in ("fish", "bursts"))
    apart = view.question.habits.burst_min
    words = "no fish in the time compared"
    if fish:
        words = f"no two fish of a rod within {apart:g} min of each other: no bursts"
    if fish > bursts:
        some = "1 burst" if bursts == 1 else f"{bursts} bursts"
        words = f"{fish} fish in {some}: fish of a rod within {apart:g} min of the one before are no news, counted once"
    per_burst = view.advice.fish_per_burst
    return {
        "fish": fish,
        "bursts": bursts,
        "fish_per_burst": None if math.isnan(per_burst) else number(per_burst, 2),
        "words": words,
    }
