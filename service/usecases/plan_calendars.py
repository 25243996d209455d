"""Sessions of a plan, those of some marks and species, to be put into calendars and tables."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from service.errors import NotFound, PlanNotDone
from service.exports.series import Export
from service.exports.session_calendar import CalendarEvent, EventAlarm, event_calendar
from service.security import Caller
from service.storage.plan_records import PlanMarkRecord, PlanRecord
from service.storage.records import DONE
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView
from service.usecases.plan_ranking import read_ranking
from service.usecases.plans import MarkOfPlan, find_plan, with_results
from service.usecases.species_rules import SPECIES_RULES, RuleView
from tidecore.safety import loosened_words

#: Marks whose results are read at a time.
_AT_ONCE = 100
#: Alarms for turning back ring so long before it [min], and when it is due.
_WARNED_MIN = (15, 0)


@dataclass(frozen=True, slots=True)
class Selection:
    """Which sessions of a plan: of these marks, rules and verdicts (None: of all), and at most so many, those of most
    worth."""

    mark_ids: tuple[str, ...] | None = None
    rule_ids: tuple[str, ...] | None = None
    safe: tuple[str, ...] | None = None
    fishable: tuple[str, ...] | None = None
    most: int = 200

    def takes(self, session: Mapping[str, Any]) -> bool:
        """Return whether a session is taken, by the rule that gets most and by its verdicts."""
        verdicts = session["verdicts"]
        held = self.fishable is None or verdicts["fishable"] in self.fishable
        return held and self._takes(verdicts["feeding"]["rule_id"], verdicts["safe"])

    def took(self, brief: Mapping[str, Any]) -> bool:
        """Return whether a session that is gone was taken, as far as what is kept of it tells."""
        return self._takes(brief["rule_id"], brief["safe"])

    def _takes(self, rule_id: str | None, safe: str) -> bool:
        return (self.rule_ids is None or rule_id in self.rule_ids) and (self.safe is None or safe in self.safe)


@dataclass(frozen=True, slots=True)
class Gone:
    """A session of the plan before that is not there any more."""

    mark_id: str
    key: str
    sequence: int
    stamp: datetime
    before: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class PlanCalendar:
    """Sessions of a plan in time order, each with its stamp, and those that are gone."""

    plan: PlanRecord
    sessions: Sequence[tuple[Mapping[str, Any], datetime]]
    gone: Sequence[Gone]
    marks: Mapping[str, MarkView]
    rules: Mapping[str, RuleView]

    def fish(self, rule_id: str | None) -> str:
        """Return what an angler calls the fish of a rule."""
        view = self.rules.get(rule_id or "")
        if view is None:
            return "fishing"
        return view.document.species.local_name or view.document.name


def calendar_basis(unit: UnitOfWork, plan: PlanRecord) -> tuple[list[str | int], datetime]:
    """Return all that decides what is written of a plan that is done, and when the last of it was."""
    # Names, places and zones of marks are in the calendar; versions only grow, and nothing of a plan is deleted.
    versions, newest = unit.plans.marks_as_they_are(plan.plan_id)
    rules = unit.species_rules.many([one["id"] for one in plan.rules or ()]).values()
    before = None if plan.supersedes is None else unit.plans.get(plan.supersedes)
    parts: list[str | int] = [
        plan.plan_id,
        plan.stamp.isoformat(),
        versions,
        sum(one.version for one in rules),
        "" if before is None else before.stamp.isoformat(),
    ]
    times = [plan.stamp, *(one.updated_at for one in rules), *([] if newest is None else [newest])]
    return parts, max(times)


def find_calendar(
    context: Context,
    caller: Caller,
    plan_id: str,
    selection: Selection,
    known: Callable[[Sequence[str | int]], bool],
) -> tuple[Sequence[str | int], PlanCalendar | None]:
    """Return what decides the calendar of a plan that is done, and its sessions, None where the former is ``known``.

    Raises
    ------
    NotFound, PlanNotDone
        If there is no such plan, or mark or rule in it, or it is not done.
    """
    with context.store.unit(caller.account_id) as unit:
        plan = find_plan(unit, plan_id)
        if plan.state != DONE:
            raise PlanNotDone(plan_id, plan.state)
        _check(plan, [] if selection.mark_ids is None else unit.plans.mark_ids(plan_id), selection)
        parts, _ = calendar_basis(unit, plan)
        return parts, None if known(parts) else read_calendar(context, unit, plan, selection)


def read_calendar(context: Context, unit: UnitOfWork, plan: PlanRecord, selection: Selection) -> PlanCalendar:
    """Return the sessions of a plan, in a unit of work; raises as `find_calendar`."""
    ranking = unit.plans.ranking(plan.plan_id)
    if plan.state != DONE or ranking is None:
        raise PlanNotDone(plan.plan_id, plan.state)
    ids = unit.plans.mark_ids(plan.plan_id)
    _check(plan, ids, selection)
    wanted = set(ids if selection.mark_ids is None else selection.mark_ids)
    rows = [(place, number) for place, number in read_ranking(ranking, "worth").tolist() if ids[place] in wanted]
    found = []
    for view, number in _read(unit, plan, ids, rows):
        session = view.session(number)
        if selection.takes(session):
            found.append((session, view.record.computed_at))
        if len(found) == selection.most:
            break
    found.sort(key=lambda one: (one[0]["arrive"], one[0]["mark_id"]))
    gone = _gone(unit, plan, wanted, selection)
    named = sorted({one["mark_id"] for one, _ in found} | {one.mark_id for one in gone})
    marks = {view.record.id: view for view in MARKS.find(context, unit, named)}
    rules = SPECIES_RULES.find(context, unit, [one["id"] for one in plan.rules or ()])
    return PlanCalendar(plan, found, gone, marks, {view.record.id: view for view in rules})


def _check(plan: PlanRecord, ids: Sequence[str], selection: Selection) -> None:
    """Refuse marks and rules that are not in the plan."""
    rules = {one["id"] for one in plan.rules or ()}
    for kind, wanted, there in (("mark", selection.mark_ids, set(ids)), ("rule", selection.rule_ids, rules)):
        for key in wanted or ():
            if key not in there:
                raise NotFound(kind, key, f"a {kind} of plan {plan.plan_id!r}")


def _read(
    unit: UnitOfWork, plan: PlanRecord, ids: Sequence[str], rows: Sequence[tuple[int, int]]
) -> Iterator[tuple[MarkOfPlan, int]]:
    """Yield sessions in the order of ``rows``; results are read as they are come to, some marks at a time."""
    views: dict[str, MarkOfPlan] = {}
    for start in range(0, len(rows), _AT_ONCE):
        some = rows[start : start + _AT_ONCE]
        records = unit.plans.marks_named(plan.plan_id, {ids[place] for place, _ in some} - views.keys())
        views |= {one.record.mark_id: one for one in with_results(unit, plan, list(records.values()))}
        for place, number in some:
            yield views[ids[place]], number


def _gone(unit: UnitOfWork, plan: PlanRecord, wanted: set[str], selection: Selection) -> list[Gone]:
    """Return what is gone since the plan before, as long as that is kept: it alone knows how often they changed."""
    changed = [one for one in unit.plans.marks(plan.plan_id, None, None, changed=True) if one.mark_id in wanted]
    if plan.supersedes is None or not changed:
        return []
    before = unit.plans.marks_named(plan.supersedes, [one.mark_id for one in changed])
    found = []
    for record in changed:
        counts = _counts(before.get(record.mark_id))
        for change in record.changes or ():
            if "gone" in change["kinds"] and change["key"] in counts and selection.took(change["before"]):
                key = change["key"]
                found.append(Gone(record.mark_id, key, counts[key] + 1, record.computed_at, change["before"]))
    return sorted(found, key=lambda one: (one.before["arrive"], one.mark_id))[: selection.most]


def _counts(record: PlanMarkRecord | None) -> dict[str, int]:
    return {} if record is None else {key: count for key, count, *_ in record.sessions}


def write_calendar(found: PlanCalendar, name: str, caution: str, refresh: timedelta | None = None) -> Export:
    """Return sessions as iCalendar, called ``name``; readers that follow it are asked to look again by ``refresh``."""
    events = [_event(found, one, stamp, caution) for one, stamp in found.sessions]
    events += [_gone_event(found, one) for one in found.gone]
    return event_calendar(events, name, f"{found.plan.plan_id}.ics", refresh)


def _event(found: PlanCalendar, one: Mapping[str, Any], stamp: datetime, caution: str) -> CalendarEvent:
    mark = found.marks[one["mark_id"]].document
    fish = found.fish(one["verdicts"]["feeding"]["rule_id"])
    arrive, home, due = _time(one["arrive"]), _time(one["leave_home"]), one["turn_back"]
    alarms = [EventAlarm(home, f"Leave home for {mark.name}")] if home < arrive else []
    # To the whole minute before: what is read off a clock must not be late.
    turning = None if due is None else _time(due).replace(second=0)
    if turning is not None and turning > arrive:
        for minutes in _WARNED_MIN:
            said = f"Turn back at {mark.name}" if not minutes else f"Turn back at {mark.name} in {minutes} min"
            alarms.append(EventAlarm(turning - timedelta(minutes=minutes), said))
    return CalendarEvent(
        key=_key(found, one["mark_id"], one["key"]),
        start=arrive,
        end=_time(one["leave"]),
        sequence=one["changed"],
        stamp=stamp,
        # A list of days shows no more than this.
        summary=f"{'Danger: ' if one['verdicts']['safe'] == 'danger' else ''}{fish} at {mark.name}",
        description="\n".join((*_told(one, mark.zone, turning), _looked(stamp, mark.zone), caution)),
        place=mark.name,
        latitude=mark.latitude,
        longitude=mark.longitude,
        alarms=tuple(alarms),
    )


def _told(one: Mapping[str, Any], zone: zoneinfo.ZoneInfo, turning: datetime | None) -> Iterator[str]:
    """Yield the lines of a description; clocks are those of the mark."""

    def clock(text: str) -> str:
        return f"{_time(text).astimezone(zone):%H:%M}"

    yield (
        f"Leave home {clock(one['leave_home'])}, arrive {clock(one['arrive'])}, fish {clock(one['start'])} to "
        f"{clock(one['end'])}, leave {clock(one['leave'])}, home {clock(one['back_home'])} ({zone.key})."
    )
    best = one["best_hour"]
    yield f"Best from {clock(best['start'])} to {clock(best['end'])}; worth {one['worth_h']:.1f} h of the best fishing."
    if turning is not None and turning <= _time(one["arrive"]):
        yield "Turning back is due before arriving: the water can cover the way back by then."
    elif turning is not None:
        yield f"Pack up to turn back by {turning.astimezone(zone):%H:%M}."
    for hazard in one["hazards"]:
        if hazard["grade"] != "not_assessed":
            yield f"{hazard['grade'].capitalize()}: {hazard['text']}"
    if one["not_assessed"]:
        yield f"Not assessed: {', '.join(kind.replace('_', ' ') for kind in one['not_assessed'])}."
    if one["loosened"]:
        yield loosened_words(one["loosened"])


def _looked(stamp: datetime, zone: zoneinfo.ZoneInfo) -> str:
    """Return when a session was computed: what a calendar shows may be weeks older than the forecast of the day."""
    return f"Computed {stamp.astimezone(zone):%-d %b %Y %H:%M}; look again 24 to 48 h before, and on arrival."


def _gone_event(found: PlanCalendar, one: Gone) -> CalendarEvent:
    mark = found.marks[one.mark_id].document
    return CalendarEvent(
        key=_key(found, one.mark_id, one.key),
        start=_time(one.before["arrive"]),
        end=_time(one.before["leave"]),
        sequence=one.sequence,
        stamp=one.stamp,
        summary=f"Gone: {found.fish(one.before['rule_id'])} at {mark.name}",
        description="This session is not in the newest plan.",
        place=mark.name,
        latitude=mark.latitude,
        longitude=mark.longitude,
        cancelled=True,
    )


def _key(found: PlanCalendar, mark_id: str, key: str) -> tuple[str, ...]:
    return ("session", found.plan.series, mark_id, key)


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
