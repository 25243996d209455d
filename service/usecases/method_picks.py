"""Picks of methods for a session at a mark, and the plan that follows from them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from service.errors import SearchTooLarge
from service.security import Caller
from service.storage.unit import UnitOfWork
from service.usecases.conditions import MarkConditions, find_conditions
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView, of_one_mark
from service.usecases.methods import METHODS, MethodView
from service.usecases.species_rules import SPECIES_RULES, RuleView
from service.usecases.stations import ServedModel, serve_models
from tidecore.rules import Species
from tidecore.timebase import TimeSpan
from tidecore.timeline import build_timeline
from tidecore.windows import MethodPicks, SessionPlan, pick_methods, two_rods
from tidecore.windows.method_plan import LOOKED_AT
from tidecore.windows.picks import session_span

_FAO_CODE = re.compile(r"[A-Z]{3}")


@dataclass(frozen=True, slots=True)
class PickQuestion:
    """What is asked: a session at a mark, what is fished for, which methods (all where None), how many rods.

    ``species`` are scientific names or codes of FAO. ``sea_temperature_c`` and ``crab_ground`` are what somebody
    found there, None where nobody did.
    """

    mark_id: str
    span: TimeSpan
    rule_ids: Sequence[str]
    species: Sequence[str]
    method_ids: Sequence[str] | None
    rods: int
    sea_temperature_c: float | None
    crab_ground: bool | None


@dataclass(frozen=True, slots=True)
class PickResult:
    """The picks and the plan, and what they rest on; places in them are those of ``methods``."""

    span: TimeSpan
    mark: MarkView
    served: ServedModel
    told: MarkConditions
    rules: Sequence[RuleView]
    methods: Sequence[MethodView]
    picked: MethodPicks
    plan: SessionPlan


def find_picks(context: Context, caller: Caller, question: PickQuestion) -> PickResult:
    """Return the methods for a session, best first, and what to do with them.

    Raises
    ------
    NotFound, NoModel
        If the mark, a rule or a method is not there, or the station of the mark has no model yet.
    InvalidSpan
        If the session is shorter than a quarter of an hour or longer than a day.
    SearchTooLarge
        If the account has more methods than a search may look at.
    """
    span = session_span(question.span.start, question.span.end)
    with context.store.unit(caller.account_id) as unit:
        (mark,) = MARKS.find(context, unit, [question.mark_id])
        (served,) = serve_models(context, unit, [mark.document.station], None)
        rules = SPECIES_RULES.find(context, unit, list(dict.fromkeys(question.rule_ids)))
        methods = _methods(context, unit, question.method_ids)
        told = find_conditions(context, unit, [mark], span)[mark.record.id]
    species = [rule.document.species for rule in rules] + [_species(name) for name in question.species]
    documents = [view.document for view in methods]
    names = dict.fromkeys([name for one in documents for name in one.factor_names] + list(LOOKED_AT))
    with of_one_mark(mark):
        timeline = build_timeline(
            mark.document, served.model, span.start, span.end, names=tuple(names), conditions=told.conditions
        )
        picked = pick_methods(documents, timeline, span.start, span.end, species)
        plan = two_rods(
            picked,
            timeline,
            question.rods,
            sea_temperature_c=question.sea_temperature_c,
            on_crab_ground=question.crab_ground,
        )
    return PickResult(span, mark, served, told, rules, methods, picked, plan)


def _methods(context: Context, unit: UnitOfWork, method_ids: Sequence[str] | None) -> list[MethodView]:
    """Return the methods named, each once, or all of them."""
    if method_ids is not None:
        return METHODS.find(context, unit, list(dict.fromkeys(method_ids)))
    most = context.settings.max_search_cells
    found = METHODS.all(context, unit, most)
    if len(found) > most:
        raise SearchTooLarge(len(found), most)
    return found


def _species(name: str) -> Species:
    return Species(scientific_name=name, fao_code=name if _FAO_CODE.fullmatch(name) else None)
