"""What is told of marks and areas once and for good: kept, read, listed and deleted the same way, whatever it says."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import orjson

from service.errors import DocumentInvalid, IssueTaken, NotFound, Stale
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.records import CREATED, DELETED, Change, ConditionRecord, WarningRecord
from service.storage.repositories.conditions import PlacedRepository
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.marks import MARKS
from service.usecases.page import Page, one_page
from tidecore.errors import Fault

R = TypeVar("R", ConditionRecord, WarningRecord)

#: Nothing here is ever edited.
ONLY_VERSION = 1


@dataclass(frozen=True, slots=True)
class Place:
    """What something is told of: a mark, an area that marks name as theirs, or neither."""

    mark_id: str | None
    area: str | None

    def check(self, context: Context, unit: UnitOfWork, *, needed: bool) -> None:
        """Refuse a place that is two, one that is none where it is ``needed``, and a mark that is not there.

        Raises
        ------
        DocumentInvalid
            If both mark and area are named, or neither is.
        NotFound
            If there is no such mark.
        """
        expected = "the id of a mark, or the name of an area that marks have as their conditions_area"
        if self.mark_id is not None and self.area is not None:
            raise DocumentInvalid(Fault("area", "is given beside mark_id", f"one of the two: {expected}"))
        if needed and self.mark_id is None and self.area is None:
            raise DocumentInvalid(Fault("mark_id", "is missing, and so is area", f"one of the two: {expected}"))
        if self.mark_id is not None:
            MARKS.find(context, unit, [self.mark_id])


#: No place in particular.
EVERYWHERE = Place(None, None)


@dataclass(frozen=True, slots=True)
class Told(Generic[R]):
    """A thing as it is to be kept: what it says, and what is shown of that in lists, the columns of its kind, and
    what tells it from others of a place.
    """

    document: Mapping[str, Any]
    summary: Mapping[str, Any]
    columns: Mapping[str, Any]
    same: Callable[[R], bool]
    named: str


@dataclass(frozen=True, slots=True)
class PlacedView(Generic[R]):
    """A thing: its record, and what it says."""

    record: R
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Kept(Generic[R]):
    """A thing that is kept now; ``made`` says that it was not there before."""

    view: PlacedView[R]
    made: bool


def tell_nobody(_context: Context, _unit: UnitOfWork, _record: ConditionRecord | WarningRecord) -> None:
    """Leave everything as it is: nothing that is kept rests on the thing."""


@dataclass(frozen=True, slots=True)
class Placed(Generic[R]):
    """All that can be done with things of one kind.

    ``excess`` returns which of those of a place are too many; ``taken_back`` sees to what rests on one that somebody
    deletes.
    """

    kind: str
    change_kind: str
    repository: Callable[[UnitOfWork], PlacedRepository[R]]
    excess: Callable[[Context, Sequence[R]], Sequence[R]]
    taken_back: Callable[[Context, UnitOfWork, R], None] = tell_nobody

    def keep(self, context: Context, unit: UnitOfWork, place: Place, told: Told[R]) -> Kept[R]:
        """Keep a thing of a checked place; the very same once more is the one that is there.

        Those of the place that are too many now are deleted, never the new one.

        Raises
        ------
        IssueTaken
            If the one that is there says something else.
        """
        repository, content_hash = self.repository(unit), _hash(told.document)
        there: list[R] = repository.at(place.mark_id, place.area)
        twin = next((one for one in there if told.same(one)), None)
        if twin is not None and twin.content_hash != content_hash:
            raise IssueTaken(self.kind, told.named, twin.id)
        if twin is not None:
            return Kept(PlacedView(twin, told.document), made=False)
        now = context.clock()
        record = repository.add(
            told.document,
            mark_id=place.mark_id,
            area=place.area,
            content_hash=content_hash,
            summary=told.summary,
            now=now,
            **told.columns,
        )
        unit.note(Change(self.change_kind, record.id, CREATED, ONLY_VERSION, now))
        there.append(record)
        excess = [one.id for one in self.excess(context, there) if one.id != record.id]
        self.drop(context, unit, excess)
        return Kept(PlacedView(record, told.document), made=True)

    def get(self, context: Context, caller: Caller, key: str) -> PlacedView[R]:
        """Return a thing; NotFound if there is none."""
        with context.store.unit(caller.account_id) as unit:
            record = self._record(unit, key)
            return PlacedView(record, self.repository(unit).documents([key])[key])

    def page(self, context: Context, caller: Caller, place: Place, after: str | None, limit: int) -> Page[R]:
        """Return a page of records, of one mark or area alone where it is named; raises as `Place.check`."""
        with context.store.unit(caller.account_id) as unit:
            place.check(context, unit, needed=False)
            repository = self.repository(unit)
            if place == EVERYWHERE:
                return one_page(lambda most: repository.page(after, most), limit, lambda record: record.id)
            # Of one place there are so few that they are all read.
            there = [one for one in repository.at(place.mark_id, place.area) if after is None or one.id > after]
            return one_page(lambda most: there[:most], limit, lambda record: record.id)

    def remove(self, context: Context, caller: Caller, key: str, expected: Callable[[R], bool]) -> None:
        """Delete a thing; NotFound if there is none, Stale if it is not as ``expected``."""
        with context.store.unit(caller.account_id, writes=True) as unit:
            record = self._record(unit, key)
            if not expected(record):
                raise Stale(self.kind, key)
            self.drop(context, unit, [key])
            self.taken_back(context, unit, record)
            unit.commit()

    def drop(self, context: Context, unit: UnitOfWork, keys: Sequence[str]) -> None:
        """Delete things by id, and note that."""
        self.repository(unit).remove(keys)
        for key in keys:
            unit.note(Change(self.change_kind, key, DELETED, None, context.clock()))

    def _record(self, unit: UnitOfWork, key: str) -> R:
        found = self.repository(unit).get(key) if is_id(key) else None
        if found is None:
            raise NotFound(self.kind, key)
        return found


def _hash(document: Mapping[str, Any]) -> str:
    return hashlib.sha256(orjson.dumps(document, option=orjson.OPT_SORT_KEYS)).hexdigest()
