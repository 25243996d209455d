"""Plans: asked for, made by a job, read, listed and deleted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.errors import DocumentInvalid, InUse, NotFound, PlanNotDone, SearchTooLarge, Stale, StoreConflict
from service.jobs.plan_work import unpack
from service.security import Caller
from service.storage.identifiers import is_id, new_id
from service.storage.plan_records import PlanCounts, PlanMarkRecord, PlanRecord
from service.storage.records import ACTIVE, CREATED, DELETED, DONE, Change
from service.storage.unit import UnitOfWork
from service.usecases.conditions import instant_of
from service.usecases.context import Context
from service.usecases.jobs import active_job, content_hash, queue_job
from service.usecases.marks import MARKS
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page, one_page
from service.usecases.plan_ranking import Order, read_ranking
from service.usecases.planning import ASKED_FOR, PLAN
from service.usecases.searching import check_search_span
from service.usecases.species_rules import SPECIES_RULES
from tidecore.calendars import FreeTime
from tidecore.errors import Fault
from tidecore.safety import OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.windows import SessionOptions


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What is asked of a plan; no ids are all of the account's, ``travel_min`` is the way to a mark and back [min].

    ``series`` is what the account calls the plans of which each supersedes the one before; without it they are those
    that ask the same. ``supersedes`` names a plan to compare with instead.
    """

    span: TimeSpan
    mark_ids: Sequence[str] | None
    rule_ids: Sequence[str] | None
    options: SessionOptions
    free_time: FreeTime | None
    travel_min: float
    facts: OutingFacts
    include_dangerous: bool
    most_per_mark: int
    diverse: bool
    series: str | None = None
    supersedes: str | None = None

    def asked(self) -> dict[str, Any]:
        """Return it without the span and the series, as plain data in one spelling."""
        return {
            "mark_ids": None if self.mark_ids is None else sorted(set(self.mark_ids)),
            "rule_ids": None if self.rule_ids is None else sorted(set(self.rule_ids)),
            "options": {name: getattr(self.options, name) for name in self.options.__slots__},
            "free_time": None if self.free_time is None else self.free_time.to_document(),
            "travel_min": self.travel_min,
            "facts": {name: getattr(self.facts, name) for name in self.facts.__slots__},
            "include_dangerous": self.include_dangerous,
            "most_per_mark": self.most_per_mark,
            "diverse": self.diverse,
        }


@dataclass(frozen=True, slots=True)
class PlanView:
    """A plan, and how its marks fared so far."""

    record: PlanRecord
    counts: PlanCounts


@dataclass(frozen=True, slots=True)
class MarkOfPlan:
    """One mark of a plan with its result, None where it failed."""

    plan: PlanRecord
    record: PlanMarkRecord
    result: Mapping[str, Any] | None

    def session(self, number: int) -> dict[str, Any]:
        """Return one of its sessions, with what it is called in this plan."""
        assert self.result is not None, "a mark that failed has no sessions"
        key, changed, *_ = self.record.sessions[number]
        return {"mark_id": self.record.mark_id, "key": key, "changed": changed, **self.result["sessions"][number]}

    @property
    def sessions(self) -> list[dict[str, Any]]:
        """Its sessions in time order; none where it failed."""
        return [] if self.result is None else [self.session(k) for k in range(len(self.record.sessions))]


@dataclass(frozen=True, slots=True)
class SessionPage:
    """Sessions of a plan in an order; ``after`` is the number to go on from, None on the last page."""

    plan: PlanRecord
    total: int
    sessions: Sequence[Mapping[str, Any]]
    after: int | None


#: Of a plan that was just asked for.
NOTHING_DONE = PlanCounts(0, 0, 0, 0)

#: Whether a plan is as its editor last saw it.
ExpectedPlan = Callable[[PlanView], bool]


def request_plan(
    context: Context, caller: Caller, request: PlanRequest, keep: Keep[PlanRecord] = keep_nothing
) -> PlanRecord:
    """Ask for a plan; the same once more while that is active is the same plan.

    Raises
    ------
    NotFound
        If a mark, a rule or the plan to be superseded is not there.
    SpanTooLong, SearchTooLarge
        If it exceeds the limits.
    DocumentInvalid
        If there is no mark, or no rule.
    TooManyJobs
        If the account has as many jobs waiting as it may.
    """
    check_search_span(context, request.span)
    try:
        found = _take(context, caller, request, keep)
    except StoreConflict:
        # Another process has asked for the same in the meantime: then it is found now.
        found = _take(context, caller, request, keep)
    context.runner.wake()
    return found


def _take(context: Context, caller: Caller, request: PlanRequest, keep: Keep[PlanRecord]) -> PlanRecord:
    asked = request.asked()
    starts, ends = (instant_of(one) for one in (request.span.start, request.span.end))
    content = {"span": [starts.isoformat(), ends.isoformat()], "asked": asked, "series": request.series}
    with context.store.unit(caller.account_id, writes=True) as unit:
        active = active_job(unit, PLAN, {**content, "supersedes": request.supersedes})
        if active is not None:
            same = unit.plans.by_job(active.job_id)
            assert same is not None, "a job of a plan and its plan are written together"
            keep(unit, same)
            unit.commit()
            return same
        _check(context, unit, request)
        series = request.series if request.series is not None else content_hash(content)
        before = unit.plans.newest_done(series) if request.supersedes is None else _find(unit, request.supersedes)
        plan_id, now = new_id("pln"), context.clock()
        job = queue_job(context, unit, PLAN, {**content, "supersedes": request.supersedes}, {"plan_id": plan_id})
        found = unit.plans.add(
            plan_id,
            job_id=job.job_id,
            series=series,
            span=(starts, ends),
            asked=asked,
            supersedes=None if before is None else before.plan_id,
            now=now,
        )
        unit.note(Change(PLAN, plan_id, CREATED, ASKED_FOR, now))
        keep(unit, found)
        unit.commit()
    return found


def _check(context: Context, unit: UnitOfWork, request: PlanRequest) -> None:
    """Refuse a plan of things that are not there, of nothing, or of too much."""
    counts = []
    for name, ids, documents, repository in (
        ("mark_ids", request.mark_ids, MARKS, unit.marks),
        ("rule_ids", request.rule_ids, SPECIES_RULES, unit.species_rules),
    ):
        there = {} if ids is None else repository.many([key for key in ids if is_id(key)])
        for key in ids or ():
            if key not in there:
                raise NotFound(documents.kind, key)
        counts.append(repository.count() if ids is None else len(there))
        if not counts[-1]:
            raise DocumentInvalid(Fault(name, f"the account has no {documents.kind}", f"a {documents.kind} at least"))
    cells = counts[0] * counts[1] * max(1.0, request.span.days)
    if cells > context.settings.max_plan_cells:
        raise SearchTooLarge(cells, context.settings.max_plan_cells, "EBBMARK_MAX_PLAN_CELLS")


def get_plan(context: Context, caller: Caller, plan_id: str) -> PlanView:
    """Return a plan; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return _view(unit, _find(unit, plan_id))


def list_plans(context: Context, caller: Caller, series: str | None, after: str | None, limit: int) -> Page[PlanView]:
    """Return a page of plans, those of a ``series`` where given."""
    with context.store.unit(caller.account_id) as unit:
        page = one_page(lambda most: unit.plans.page(series, after, most), limit, lambda one: one.plan_id)
        return Page([_view(unit, one) for one in page.items], page.after)


def list_marks(
    context: Context, caller: Caller, plan_id: str, after: str | None, limit: int, *, changed: bool = False
) -> tuple[PlanRecord, Page[PlanMarkRecord]]:
    """Return a page of the marks of a plan, without their results; only those that are ``changed`` where asked."""
    with context.store.unit(caller.account_id) as unit:
        plan = _find(unit, plan_id)
        page = one_page(
            lambda most: unit.plans.marks(plan_id, after, most, changed=changed), limit, lambda one: one.mark_id
        )
        return plan, page


def get_mark(context: Context, caller: Caller, plan_id: str, mark_id: str) -> MarkOfPlan:
    """Return one mark of a plan with its result; NotFound if there is no such plan, or the mark is not in it yet."""
    with context.store.unit(caller.account_id) as unit:
        plan = _find(unit, plan_id)
        found = unit.plans.marks_named(plan_id, [mark_id] if is_id(mark_id) else []).get(mark_id)
        if found is None:
            raise NotFound("mark", mark_id, f"a mark of plan {plan_id!r} that is done")
        return _with_results(unit, plan, [found])[0]


def list_sessions(context: Context, caller: Caller, plan_id: str, order: Order, start: int, limit: int) -> SessionPage:
    """Return sessions of all marks of a plan, from one place of the order on.

    Raises
    ------
    NotFound, PlanNotDone
        If there is no such plan, or it is not done.
    """
    with context.store.unit(caller.account_id) as unit:
        plan = _find(unit, plan_id)
        ranking = unit.plans.ranking(plan_id)
        if plan.state != DONE or ranking is None:
            raise PlanNotDone(plan_id, plan.state)
        rows = read_ranking(ranking, order)
        wanted = rows[start : start + limit].tolist()
        ids = unit.plans.mark_ids(plan_id)
        records = unit.plans.marks_named(plan_id, {ids[place] for place, _ in wanted})
        views = {one.record.mark_id: one for one in _with_results(unit, plan, list(records.values()))}
    after = start + len(wanted)
    sessions = [views[ids[place]].session(number) for place, number in wanted]
    return SessionPage(plan, len(rows), sessions, after if after < len(rows) else None)


def remove_plan(context: Context, caller: Caller, plan_id: str, expected: ExpectedPlan) -> None:
    """Delete a plan with what no other plan shares; InUse while its job is active, Stale if it is not as expected."""
    with context.store.unit(caller.account_id, writes=True) as unit:
        plan = _find(unit, plan_id)
        if not expected(_view(unit, plan)):
            raise Stale(PLAN, plan_id)
        if plan.state in ACTIVE:
            raise InUse(PLAN, plan_id, [plan.job_id])
        unit.plans.remove([plan_id])
        unit.note(Change(PLAN, plan_id, DELETED, None, context.clock()))
        unit.commit()


def _with_results(unit: UnitOfWork, plan: PlanRecord, records: Sequence[PlanMarkRecord]) -> list[MarkOfPlan]:
    contents = unit.plans.results([one.input_hash for one in records if one.problem is None])
    return [MarkOfPlan(plan, one, unpack(contents[one.input_hash]) if one.problem is None else None) for one in records]


def _view(unit: UnitOfWork, plan: PlanRecord) -> PlanView:
    return PlanView(plan, unit.plans.counts(plan.plan_id))


def _find(unit: UnitOfWork, plan_id: str) -> PlanRecord:
    found = unit.plans.get(plan_id) if is_id(plan_id) else None
    if found is None:
        raise NotFound(PLAN, plan_id)
    return found
