"""What is drawn of planned sessions: those of one mark of a plan, stored, on the tide that they rest on."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.errors import DocumentInvalid, NotFound
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.plan_records import PlanMarkRecord, PlanRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.mark_charts import DRAWN, MOST_SHOWN, STEP, ChartKind, local_days
from service.usecases.marks import MARKS, MarkView
from service.usecases.plans import find_plan, with_results
from service.usecases.stations import ServedModel, find_station, model_of
from tidecore import NUMERICS
from tidecore.errors import Fault
from tidecore.timebase import TimeSpan
from tidecore.timeline import Timeline, build_timeline


@dataclass(frozen=True, slots=True)
class PlanDrawingBasis:
    """A mark of a plan, and what of it is drawn; ``date`` None is the start of the plan."""

    plan: PlanRecord
    record: PlanMarkRecord
    kind: ChartKind
    date: datetime.date | None

    def parts(self) -> list[str | int]:
        """Return all that decides what is drawn, in versions, for an ETag: the result, which never changes."""
        day = "" if self.date is None else self.date.isoformat()
        stamp = self.record.computed_at.isoformat()
        return [self.plan.plan_id, self.record.mark_id, self.record.input_hash, stamp, self.kind, day, NUMERICS]


@dataclass(frozen=True, slots=True)
class Drawing:
    """What is drawn of planned sessions: the tide of some local days, and the sessions that touch them, the best first.

    ``sessions`` are as a plan keeps them, ``fish`` is what an angler calls the fish of a rule, ``loosened`` names the
    thresholds of safety that are looser than the defaults, ``made`` is the plan and when the mark was computed; None
    where the sessions were searched for just now.
    """

    kind: ChartKind
    date: datetime.date
    mark: MarkView
    served: ServedModel
    span: TimeSpan
    timeline: Timeline
    sessions: Sequence[Mapping[str, Any]]
    nothing: Sequence[str]
    said: Sequence[str]
    fish: Mapping[str, str]
    loosened: Sequence[str]
    made: tuple[PlanRecord, datetime.datetime] | None


def find_plan_drawing(
    context: Context, caller: Caller, plan_id: str, mark_id: str, kind: ChartKind, date: datetime.date | None
) -> PlanDrawingBasis:
    """Return what a drawing rests on; NotFound if the mark is not in the plan, or not done there."""
    with context.store.unit(caller.account_id) as unit:
        plan = find_plan(unit, plan_id)
        found = unit.plans.marks_named(plan_id, [mark_id] if is_id(mark_id) else []).get(mark_id)
    if found is None or found.problem is not None:
        raise NotFound("mark", mark_id, f"a mark of plan {plan_id!r} that is done")
    return PlanDrawingBasis(plan, found, kind, date)


def read_plan_drawing(context: Context, caller: Caller, basis: PlanDrawingBasis) -> Drawing:
    """Return what is drawn, in the versions of mark, tide and rules that the plan rests on.

    Raises
    ------
    DocumentInvalid
        If the days lie outside the plan.
    """
    with context.store.unit(caller.account_id) as unit:
        (found,) = with_results(unit, basis.plan, [basis.record])
        assert found.result is not None, "a mark that failed is not drawn"
        rests_on = found.result["rests_on"]
        served = model_of(context, unit, find_station(unit, rests_on["station_id"]), rests_on["station_version"])
        fish = _fish(unit, basis.plan)
    mark = MARKS.get(context, caller, basis.record.mark_id, rests_on["mark_version"])
    date = basis.plan.starts_at.astimezone(mark.document.zone).date() if basis.date is None else basis.date
    span = local_days(mark, basis.kind, date)
    _check_days(basis, mark, span)
    timeline = build_timeline(mark.document, served.model, span.start, span.end + STEP, step=STEP, names=DRAWN)
    first, end = (str(one.astype("datetime64[s]")) for one in (span.start, span.end))
    shown = [one for one in found.sessions if one["start"] < end and one["end"] > first]
    shown.sort(key=lambda one: one["rank"])
    return Drawing(
        kind=basis.kind,
        date=date,
        mark=mark,
        served=served,
        span=span,
        timeline=timeline,
        sessions=shown[: MOST_SHOWN[basis.kind]],
        nothing=found.result["nothing"],
        said=rests_on["said"],
        fish=fish,
        loosened=list(dict.fromkeys(name for one in found.sessions for name in one["loosened"])),
        made=(basis.plan, basis.record.computed_at),
    )


def _check_days(basis: PlanDrawingBasis, mark: MarkView, span: TimeSpan) -> None:
    """Refuse days that have nothing of the plan: that no session is drawn there would say nothing."""
    first, end = (np.datetime64(one.replace(tzinfo=None), "us") for one in (basis.plan.starts_at, basis.plan.ends_at))
    if span.start < end and span.end > first:
        return
    zone = mark.document.zone
    last = (basis.plan.ends_at - datetime.timedelta(microseconds=1)).astimezone(zone).date()
    expected = f"a date from {basis.plan.starts_at.astimezone(zone).date()} to {last}"
    raise DocumentInvalid(Fault("date", "lies outside the plan", expected))


def _fish(unit: UnitOfWork, plan: PlanRecord) -> dict[str, str]:
    versions = [(one["id"], one["version"]) for one in plan.rules or ()]
    documents = unit.species_rules.documents(versions)
    return {key: one["species"].get("local_name") or one["name"] for (key, _), one in documents.items()}
