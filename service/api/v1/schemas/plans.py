"""Plans in requests and answers."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field

from service.api.instants import Instant, to_numpy, write_instant
from service.api.v1.schemas.common import InstantText, Schema, WorkProblem, whole, write_problem
from service.api.v1.schemas.hazards import DangerousField, OutingField, facts_of
from service.api.v1.schemas.searched import SearchedRule
from service.api.v1.schemas.session_search import Hours, Id, Minutes
from service.api.v1.schemas.windows import Ids
from service.errors import DocumentInvalid
from service.usecases.page import Page
from service.usecases.plans import PlanRequest, PlanView
from service.usecases.stations import check_zone
from tidecore.calendars import FreeTime
from tidecore.errors import Fault
from tidecore.place import Document
from tidecore.timebase import TimeSpan
from tidecore.windows import SessionOptions

EXAMPLE: dict[str, Any] = {
    "month": "2026-06",
    "free_time": {"weekly": [{"weekdays": ["saturday", "sunday"], "hours": {"from": "05:00", "to": "23:00"}}]},
    "travel_min": 20,
    "most_per_mark": 20,
    "series": "weekends",
}
_DEFAULTS = SessionOptions()
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")


class PlanCreate(Document):
    """Which marks, which rules, which month or span, in which free time, and how sessions are made and ranked."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    month: Annotated[
        str | None,
        Field(max_length=7, description="A month as 2026-12, by the clocks of time_zone; or else start and end."),
    ] = None
    time_zone: Annotated[str, Field(max_length=64, description="IANA zone whose clocks bound the month.")] = "Etc/UTC"
    start: Instant | None = None
    end: Instant | None = None
    mark_ids: Annotated[Ids | None, Field(description="Ids of marks; all of the account's unless given.")] = None
    rule_ids: Annotated[Ids | None, Field(description="Ids of species rules; all unless given.")] = None
    free_time: Annotated[
        FreeTime | None,
        Field(description="Free hours by the clocks of each mark; the whole span unless given. Ways lie in them too."),
    ] = None
    travel_min: Annotated[Minutes, Field(description="The way to any mark, and back.")] = 0.0
    least_h: Annotated[Hours, Field(description="Shortest session, from arriving to leaving.")] = _DEFAULTS.least_h
    most_h: Annotated[Hours, Field(description="Longest session, from arriving to leaving.")] = _DEFAULTS.most_h
    set_up_min: Annotated[Minutes, Field(description="From arriving to fishing.")] = _DEFAULTS.set_up_min
    pack_up_min: Annotated[Minutes, Field(description="From fishing to leaving.")] = _DEFAULTS.pack_up_min
    lull_min: Annotated[Minutes, Field(description="Longest lull that is sat out.")] = _DEFAULTS.lull_min
    most_per_mark: Annotated[
        int,
        Field(strict=True, ge=1, le=200, description="Most sessions kept of a mark: the first by rank."),
        BeforeValidator(whole),
    ] = 31
    diverse: Annotated[
        bool, Field(strict=True, description="Whether a session counts less beside those like it ranked before it.")
    ] = True
    outing: OutingField = None
    include_dangerous: DangerousField = False
    series: Annotated[
        str | None,
        Field(
            min_length=1,
            max_length=100,
            description="What the account calls plans of which each supersedes the one before; unless given they are "
            "those that ask the very same.",
        ),
    ] = None
    supersedes: Annotated[Id | None, Field(description="Id of the plan to compare with, in place of that one.")] = None

    def request(self) -> PlanRequest:
        """Return what is asked; DocumentInvalid, InvalidSpan or InvalidInput where it contradicts itself."""
        return PlanRequest(
            span=self._span(),
            mark_ids=self.mark_ids,
            rule_ids=self.rule_ids,
            options=SessionOptions(self.least_h, self.most_h, self.set_up_min, self.pack_up_min, self.lull_min),
            free_time=self.free_time,
            travel_min=self.travel_min,
            facts=facts_of(self.outing),
            include_dangerous=self.include_dangerous,
            most_per_mark=self.most_per_mark,
            diverse=self.diverse,
            series=self.series,
            supersedes=self.supersedes,
        )

    def _span(self) -> TimeSpan:
        if self.month is not None:
            if self.start is not None or self.end is not None:
                raise DocumentInvalid(Fault("month", "is given beside start or end", "a month, or start and end"))
            return month_span(self.month, self.time_zone)
        if self.start is None or self.end is None:
            field = "month" if self.start is None and self.end is None else "start" if self.start is None else "end"
            raise DocumentInvalid(Fault(field, "is missing", "a month as 2026-12, or start and end"))
        return TimeSpan(to_numpy(self.start), to_numpy(self.end))


def month_span(month: str, zone_name: str) -> TimeSpan:
    """Return the span of a month, as 2026-12, by the clocks of a zone; DocumentInvalid where one or both are none."""
    try:
        zone = check_zone(zone_name, "time_zone")
    except DocumentInvalid as error:
        raise DocumentInvalid([*_month_faults(month), *error.faults]) from error
    begins = first_of_month(month)
    first = datetime(begins.year, begins.month, 1, tzinfo=zone)
    last = datetime(begins.year + begins.month // 12, begins.month % 12 + 1, 1, tzinfo=zone)
    return TimeSpan(to_numpy(first), to_numpy(last))


def first_of_month(month: str) -> date:
    """Return the first day of a month, as 2026-12; DocumentInvalid where it is none."""
    if faults := _month_faults(month):
        raise DocumentInvalid(faults)
    year, number = month.split("-")
    return date(int(year), int(number), 1)


def _month_faults(month: str) -> list[Fault]:
    found = _MONTH.fullmatch(month)
    if found is None:
        return [Fault("month", f"is {month!a}", "a year and a month, as 2026-12")]
    if not 1701 <= int(found[1]) <= 2198:
        return [Fault("month", f"is {month!a}", "a month from 1701 to 2198")]
    return []


class PlanProgress(Schema):
    """How far a plan is: marks done, of how many."""

    done: int
    total: int | None


class PlanAsked(Schema):
    """What was asked, besides the span; no ids are all of the account's."""

    mark_ids: list[str] | None
    rule_ids: list[str] | None
    options: Annotated[dict[str, float], Field(description="How sessions are made.")]
    free_time: dict[str, Any] | None
    travel_min: float
    facts: Annotated[dict[str, Any], Field(description="Who goes, for hazards.")]
    include_dangerous: bool
    most_per_mark: int
    diverse: bool


class PlanMarks(Schema):
    """How the marks of a plan fared, so far."""

    done: int
    reused: Annotated[int, Field(description="Whose result was there already: nothing that it rests on had changed.")]
    failed: int
    changed: Annotated[int, Field(description="With sessions other than in the plan that this one supersedes.")]


class Plan(Schema):
    """A plan, from request to end."""

    id: str
    job_id: Annotated[str, Field(description="The job that makes it; state, times and problem are its own.")]
    series: Annotated[str, Field(description="As the account calls it, or a hash of what was asked.")]
    state: Literal["queued", "running", "done", "failed", "cancelled"]
    progress: PlanProgress | None
    problem: WorkProblem | None
    start: InstantText
    end: InstantText
    asked: PlanAsked
    rules: Annotated[
        list[SearchedRule] | None, Field(description="The rules that it rests on; null before it is begun.")
    ]
    supersedes: Annotated[
        str | None, Field(description="The plan before it, with which it is compared; it may be gone.")
    ]
    marks: PlanMarks
    created_at: InstantText
    started_at: InstantText | None
    finished_at: InstantText | None


class PlanList(Schema):
    """A page of plans."""

    items: list[Plan]
    next_cursor: str | None


def write_plan(view: PlanView) -> dict[str, Any]:
    """Return a plan as `Plan` has it."""
    record, counts, progress = view.record, view.counts, view.record.progress
    return {
        "id": record.plan_id,
        "job_id": record.job_id,
        "series": record.series,
        "state": record.state,
        "progress": None if progress is None else {"done": progress["done"], "total": progress["total"]},
        "problem": write_problem(record.problem),
        "start": write_instant(record.starts_at),
        "end": write_instant(record.ends_at),
        "asked": dict(record.asked),
        "rules": None if record.rules is None else [dict(one) for one in record.rules],
        "supersedes": record.supersedes,
        "marks": {
            "done": counts.marks,
            "reused": counts.reused,
            "failed": counts.failed,
            "changed": counts.changed,
        },
        "created_at": write_instant(record.created_at),
        "started_at": None if record.started_at is None else write_instant(record.started_at),
        "finished_at": None if record.finished_at is None else write_instant(record.finished_at),
    }


def write_plans(page: Page[PlanView], cursor: str | None) -> dict[str, Any]:
    """Return a page as `PlanList` has it."""
    return {"items": [write_plan(one) for one in page.items], "next_cursor": cursor}
