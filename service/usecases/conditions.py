"""Which conditions hold at marks: what is told of each, and of the area that it names as its own."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TypeVar

import numpy as np

from service.storage.records import ConditionRecord, WarningRecord
from service.storage.repositories.conditions import PlacedRepository
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.inputs import Input
from service.usecases.marks import MarkView
from service.usecases.placed import ONLY_VERSION
from tidecore.conditions import LOOK_BACK_DAYS, ConditionIssue, Conditions, OfficialWarning
from tidecore.place import Document, Mark
from tidecore.timebase import TimeSpan

R = TypeVar("R", ConditionRecord, WarningRecord)
D = TypeVar("D", bound=Document)

#: What follows from conditions looks so far back and ahead of a span; the margins of timelines are in it.
BEHIND, AHEAD = timedelta(days=LOOK_BACK_DAYS + 4), timedelta(days=4)
#: Said of a mark of which no issue tells anything.
NOTHING_TOLD = "sea and air not assessed: no forecast or observation was given for the mark or its area"


@dataclass(frozen=True, slots=True)
class Merged:
    """Conditions, and the ids of their issues, in their order."""

    conditions: Conditions
    issue_ids: Sequence[str]


@dataclass(frozen=True, slots=True)
class MarkConditions:
    """What is told of one mark, None where that is nothing, and the issues and warnings that it rests on."""

    merged: Merged | None
    issues: Sequence[ConditionRecord]
    warnings: Sequence[WarningRecord]

    @property
    def conditions(self) -> Conditions | None:
        """What the issues and warnings say together."""
        return None if self.merged is None else self.merged.conditions

    def said(self, span: TimeSpan) -> tuple[str, ...]:
        """Return in words what is not assessed over a span, or rests on old issues."""
        if not self.issues or self.conditions is None:
            return (NOTHING_TOLD,)
        return self.conditions.sentences(span)

    @property
    def inputs(self) -> Sequence[Input]:
        """Issues and warnings, as an answer rests on them."""
        return [
            *(Input("condition", one.id, ONLY_VERSION, one.created_at) for one in self.issues),
            *(Input("warning", one.id, ONLY_VERSION, one.created_at) for one in self.warnings),
        ]


@dataclass(frozen=True, slots=True)
class MarkPlace:
    """Where a mark is, and the area that it names as its own."""

    area: str | None
    latitude: float
    longitude: float

    @classmethod
    def of(cls, mark: Mark) -> MarkPlace:
        """Return that of a mark."""
        return cls(mark.conditions_area, mark.latitude, mark.longitude)


#: The issues and the warnings that are told of a mark.
Told = tuple[list[ConditionRecord], list[WarningRecord]]


def find_conditions(
    context: Context, unit: UnitOfWork, marks: Sequence[MarkView], span: TimeSpan | None = None
) -> dict[str, MarkConditions]:
    """Return what is told of marks, by the id of each: of the mark itself, and of the area that it names.

    With a ``span`` only what may matter there is read; values in the span do not depend on it.
    """
    told = find_told(
        unit,
        {view.record.id: MarkPlace.of(view.document) for view in marks},
        span,
        lambda records: _read(context, unit.warnings, OfficialWarning, records),
    )
    made = _make(context, unit, told.values())
    return {key: MarkConditions(made[_key(*one)], *one) for key, one in told.items()}


def find_told(
    unit: UnitOfWork,
    marks: Mapping[str, MarkPlace],
    span: TimeSpan | None,
    read: Callable[[Sequence[WarningRecord]], Mapping[str, OfficialWarning]],
) -> dict[str, Told]:
    """Return the issues and warnings that are told of marks, by id; ``read`` decodes warnings given for no place."""
    start, end = (None, None) if span is None else (instant_of(span.start) - BEHIND, instant_of(span.end) + AHEAD)
    named = {mark.area for mark in marks.values() if mark.area is not None}
    issues = _by_place(unit.conditions.of(marks.keys(), named, start, end))
    warnings = _by_place(unit.warnings.of(marks.keys(), named, start, end))
    anywhere = unit.warnings.unplaced(start, end)
    drawn = read(anywhere)
    told = {}
    for key, mark in marks.items():
        places = [(key, None), *([] if mark.area is None else [(None, mark.area)])]
        told[key] = (
            [one for place in places for one in issues.get(place, ())],
            [one for place in places for one in warnings.get(place, ())]
            + [one for one in anywhere if _reaches(drawn[one.id], mark)],
        )
    return told


def _reaches(warning: OfficialWarning, mark: MarkPlace) -> bool:
    """Return whether a warning that was given for no place is of a mark, or takes the place of one that may be."""
    return warning.msg_type != "alert" or warning.covers(mark.latitude, mark.longitude) is True


def _make(
    context: Context, unit: UnitOfWork, told: Collection[tuple[Sequence[ConditionRecord], Sequence[WarningRecord]]]
) -> dict[str, Merged | None]:
    """Return what each set of issues and warnings says together, by `_key`; each is made once."""
    wanted = {_key(*one): one for one in told}
    made = {key: context.told.find(Merged, key, ONLY_VERSION) for key in wanted}
    missing = {key: one for key, one in wanted.items() if made[key] is None and any(one)}
    issues = _read(context, unit.conditions, ConditionIssue, [one for found, _ in missing.values() for one in found])
    warnings = _read(context, unit.warnings, OfficialWarning, [one for _, found in missing.values() for one in found])
    for key, (found, warned) in missing.items():
        conditions = Conditions.of([issues[one.id] for one in found], [warnings[one.id] for one in warned])
        # Two issues may say the same; each of these objects is of one.
        ids = {id(issues[one.id]): one.id for one in found}
        merged = Merged(conditions, [ids[id(issue)] for issue in conditions.issues])
        made[key] = context.told.keep(key, ONLY_VERSION, merged)
    return made


def _read(context: Context, repository: PlacedRepository[R], model: type[D], records: Iterable[R]) -> dict[str, D]:
    """Return what records say, by id; only those not decoded before are read."""
    known = {one.id: context.told.find(model, one.id, ONLY_VERSION) for one in records}
    missing = [key for key, document in known.items() if document is None]
    stored = repository.documents(missing) if missing else {}
    return {
        key: context.told.keep(key, ONLY_VERSION, model.parse(stored[key])) if document is None else document
        for key, document in known.items()
    }


def _key(issues: Sequence[ConditionRecord], warnings: Sequence[WarningRecord]) -> str:
    ids = [*(one.id for one in issues), *(one.id for one in warnings)]
    return hashlib.sha256("\n".join(ids).encode()).hexdigest()


def _by_place(records: Iterable[R]) -> Mapping[tuple[str | None, str | None], list[R]]:
    found: dict[tuple[str | None, str | None], list[R]] = {}
    for one in records:
        found.setdefault((one.mark_id, one.area), []).append(one)
    return found


def instant_of(time: np.datetime64) -> datetime:
    """Return an instant as an aware datetime."""
    moment: datetime = time.astype("datetime64[us]").item()
    return moment.replace(tzinfo=UTC)
