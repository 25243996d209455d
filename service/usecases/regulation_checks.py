"""What the rules on file say of a plan, of the catches of a trip, and of sessions that are found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.security import Caller
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView
from service.usecases.outings import MOST_DAYS
from service.usecases.regulations import RegulationView, rules_of_areas, today
from service.usecases.species_rules import RuleView
from tidecore.catchlog import Finding, Regulation, areas_on_file, judge_plan
from tidecore.catchlog.findings import WORST_FIRST
from tidecore.errors import Fault, InvalidSpan
from tidecore.rules import Species
from tidecore.timebase import TimeSpan
from tidecore.windows import SessionLeg


@dataclass(frozen=True, slots=True)
class PlanQuestion:
    """A plan to be held against the rules on file; see `tidecore.catchlog.judge_plan`."""

    mark_id: str
    span: TimeSpan
    species: tuple[Species, ...]
    rods: int | None
    hooks: int | None
    permits: tuple[str, ...] | None
    gathering: bool


@dataclass(frozen=True, slots=True)
class RulesAt:
    """A mark, and the rules on file of the areas that it names; ``day`` is that of the service."""

    mark: MarkView
    rules: Sequence[RegulationView]
    day: date

    @property
    def documents(self) -> list[Regulation]:
        """What the rules say."""
        return [view.document for view in self.rules]

    @property
    def missing(self) -> tuple[Finding, ...]:
        """What is not on file of the mark's areas."""
        return areas_on_file(self.mark.document.regulation_areas, self.documents)


@dataclass(frozen=True, slots=True)
class PlanJudged:
    """What the rules on file say of a plan, the worst first."""

    question: PlanQuestion
    at: RulesAt
    findings: Sequence[Finding]


def worst_first(findings: Sequence[Finding]) -> list[Finding]:
    """Return findings with the worst first."""
    return sorted(findings, key=lambda one: WORST_FIRST.index(one.verdict))


def rules_at(context: Context, unit: UnitOfWork, mark_id: str) -> RulesAt:
    """Return the rules on file at a mark; NotFound without such a mark."""
    (mark,) = MARKS.find(context, unit, [mark_id])
    return RulesAt(mark, rules_of_areas(context, unit, mark.document.regulation_areas), today(context))


def check_plan(context: Context, caller: Caller, question: PlanQuestion) -> PlanJudged:
    """Return what the rules on file say of a plan.

    Raises
    ------
    NotFound
        If there is no such mark.
    InvalidSpan
        If the plan is longer than two days.
    """
    if question.span.days > MOST_DAYS:
        problem = f"{question.span.days:.1f} days after the start"
        raise InvalidSpan(Fault("end", problem, f"an outing of {MOST_DAYS:g} days at most"))
    with context.store.unit(caller.account_id) as unit:
        at = rules_at(context, unit, question.mark_id)
    found = judge_plan(
        question.span,
        at.documents,
        at.mark.document.zone,
        species=question.species,
        rods=question.rods,
        hooks=question.hooks,
        permits=question.permits,
        gathering=question.gathering,
    )
    return PlanJudged(question, at, worst_first([*at.missing, *found]))


@dataclass(frozen=True, slots=True)
class RulesOnFile:
    """The rules on file of the areas of several marks, and the species of the rules that sessions are found by."""

    rules: Sequence[RegulationView]
    species: Mapping[str, Species]

    @property
    def state(self) -> list[list[str]]:
        """The rules in their versions, as plain values."""
        return [
            ["regulation", view.record.id, str(view.record.version), view.record.updated_at.isoformat()]
            for view in self.rules
        ]

    def said_of(self, leg: SessionLeg) -> list[Finding] | None:
        """Return what the rules say of a stay at a mark, the worst first; None where the mark names no area."""
        areas = leg.mark.regulation_areas
        if not areas:
            return None
        here = [view.document for view in self.rules if view.document.area in areas]
        ids = [one.rule for one in leg.windows] or [one.rule for one in leg.rules]
        species = tuple(dict.fromkeys(self.species[key] for key in ids))
        found = judge_plan(TimeSpan(leg.start, leg.end), here, leg.mark.zone, species=species)
        return worst_first([*areas_on_file(areas, here), *found])


def rules_on_file(
    context: Context, caller: Caller, marks: Sequence[MarkView], rules: Sequence[RuleView]
) -> RulesOnFile:
    """Return the rules on file of the areas of marks; the store is not asked where they name none."""
    areas = {area for view in marks for area in view.document.regulation_areas}
    found: list[RegulationView] = []
    if areas:
        with context.store.unit(caller.account_id) as unit:
            found = rules_of_areas(context, unit, areas)
    return RulesOnFile(found, {view.record.id: view.document.species for view in rules})
