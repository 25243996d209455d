"""Where to set up at a mark and when to move, over one session."""

from __future__ import annotations

from dataclasses import dataclass

from service.security import Caller
from service.usecases.context import Context
from service.usecases.outings import OutingBasis, find_outing
from service.usecases.safety_thresholds import read_thresholds
from tidecore.safety import HazardReport, OutingFacts, assess, outing_span
from tidecore.timebase import TimeSpan
from tidecore.timeline.peg_plans import PegPlan, plan_pegs


@dataclass(frozen=True, slots=True)
class PegQuestion:
    """What is asked of a plan of pegs, and the pace of the way back; see `tidecore.timeline.peg_plans.plan_pegs`."""

    mark_id: str
    span: TimeSpan
    surge_m: float | None
    step_m: float
    notice_min: float
    least_stay_min: float
    pace: float = 1.0


@dataclass(frozen=True, slots=True)
class PegPlanView:
    """A plan of pegs, what it rests on, and what is known against the outing."""

    question: PegQuestion
    basis: OutingBasis
    plan: PegPlan
    hazards: HazardReport


def find_peg_plan(context: Context, caller: Caller, question: PegQuestion) -> PegPlanView:
    """Return where to set up and when to move over a session.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    InvalidSpan, InvalidInput
        If the session is longer than two days, or a step or time is none.
    """
    thresholds = read_thresholds(context, caller).thresholds
    basis = find_outing(context, caller, question.mark_id, question.span, {})
    timeline, facts = basis.timeline(), OutingFacts(surge_m=question.surge_m, pace=question.pace)
    plan = plan_pegs(
        timeline,
        question.span,
        surge_m=question.surge_m,
        step_m=question.step_m,
        notice_min=question.notice_min,
        least_stay_min=question.least_stay_min,
        allowances=thresholds.allowances(facts),
    )
    start, end = outing_span(timeline, question.span.start, question.span.end, facts)
    return PegPlanView(question, basis, plan, assess(timeline, start, end, thresholds, facts))
