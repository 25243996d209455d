"""Deployments, bites and catches, one by one: every edit of one is the next version of its trip."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Generic, Literal, TypeVar

from service.errors import DocumentInvalid, InUse, NotFound
from service.security import Caller
from service.usecases.context import Context
from service.usecases.documents import Draft
from service.usecases.logged import Allows
from service.usecases.once import Keep, keep_nothing
from service.usecases.trips import TRIP_LOG, TripShown, TripView
from tidecore.catchlog import Bite, Catch, Deployment, TripPart, TripRecord
from tidecore.errors import Fault, InvalidInput

P = TypeVar("P", bound=TripPart)


@dataclass(frozen=True, slots=True)
class Part(Generic[P]):
    """One kind of thing in a trip: the field that has them, what one is called, and when one begins."""

    field: Literal["deployments", "bites", "catches"]
    noun: str
    model: type[P]
    begins: Callable[[P], datetime]

    def all(self, record: TripRecord) -> Sequence[P]:
        """Return those of a trip."""
        found: Sequence[P] = getattr(record, self.field)
        return found

    def place(self, record: TripRecord, ref: str) -> int:
        """Return where the one with a ``ref`` stands; NotFound if there is none."""
        for place, one in enumerate(self.all(record)):
            if one.ref == ref:
                return place
        raise NotFound(self.noun, ref)


DEPLOYMENTS = Part("deployments", "deployment", Deployment, lambda one: one.start)
BITES = Part("bites", "bite", Bite, lambda one: one.at)
CATCHES = Part("catches", "catch", Catch, lambda one: one.at)


@dataclass(frozen=True, slots=True)
class PartShown(Generic[P]):
    """One thing of a trip, with the trip as it then is."""

    trip: TripShown
    part: P


def get_part(context: Context, caller: Caller, part: Part[P], trip_id: str, ref: str) -> PartShown[P]:
    """Return a thing of a trip; NotFound if there is no such trip, or no such thing in it."""
    trip = TRIP_LOG.get(context, caller, trip_id)
    record = trip.view.document
    return PartShown(trip, part.all(record)[part.place(record, ref)])


def add_part(
    context: Context,
    caller: Caller,
    part: Part[P],
    trip_id: str,
    new: P,
    allows: Allows[TripShown],
    keep: Keep[PartShown[P]] = keep_nothing,
) -> PartShown[P]:
    """Add a thing to a trip, in its next version; raises as `Logged.edit`, InvalidInput where it does not fit."""
    return _edit(context, caller, part, trip_id, allows, lambda found: (len(found), new), keep)


def replace_part(
    context: Context,
    caller: Caller,
    part: Part[P],
    trip_id: str,
    ref: str,
    allows: Allows[TripShown],
    change: Callable[[P], P],
) -> PartShown[P]:
    """Make what ``change`` returns of a thing stand in its place; raises as `add_part`, NotFound without it."""

    def changed(found: Sequence[P]) -> tuple[int, P]:
        place = next((place for place, one in enumerate(found) if one.ref == ref), None)
        if place is None:
            raise NotFound(part.noun, ref)
        new = change(found[place])
        if new.ref not in ("", ref):
            raise DocumentInvalid(Fault("ref", f"is {new.ref!r}", f"{ref!r}, as in the path, or none"))
        return place, new.model_copy(update={"ref": ref})

    return _edit(context, caller, part, trip_id, allows, changed, keep_nothing)


def remove_part(
    context: Context, caller: Caller, part: Part[P], trip_id: str, ref: str, allows: Allows[TripShown]
) -> TripShown:
    """Take a thing out of a trip; NotFound without it, InUse for a deployment that a bite or catch names."""

    def removed(view: TripView) -> Draft[TripRecord]:
        record: TripRecord = view.document
        place: int = part.place(record, ref)
        bites = [one.ref for one in record.bites if one.deployment == ref]
        catches = [one.ref for one in record.catches if one.deployment == ref]
        if part.field == "deployments" and (bites or catches):
            raise InUse(part.noun, ref, [*bites, *catches])
        found: Sequence[P] = part.all(record)
        left: list[P] = [*found[:place], *found[place + 1 :]]
        return _with(view, part, left)

    return TRIP_LOG.edit(context, caller, trip_id, allows, removed)


def _edit(
    context: Context,
    caller: Caller,
    part: Part[P],
    trip_id: str,
    allows: Allows[TripShown],
    choose: Callable[[Sequence[P]], tuple[int, P]],
    keep: Keep[PartShown[P]],
) -> PartShown[P]:
    """Put a thing at a place of its list."""
    at: list[int] = []

    def change(view: TripView) -> Draft[TripRecord]:
        found: Sequence[P] = part.all(view.document)
        chosen: tuple[int, P] = choose(found)
        at.append(chosen[0])
        made: list[P] = [*found[: chosen[0]], chosen[1], *found[chosen[0] + 1 :]]
        return _with(view, part, made)

    def shown(trip: TripShown) -> PartShown[P]:
        return PartShown(trip, part.all(trip.view.document)[at[0]])

    with _of_one(part, at):
        return shown(
            TRIP_LOG.edit(context, caller, trip_id, allows, change, lambda unit, trip: keep(unit, shown(trip)))
        )


def _with(view: TripView, part: Part[P], things: Sequence[P]) -> Draft[TripRecord]:
    record = view.document
    document = {name: getattr(record, name) for name in TripRecord.model_fields}
    return Draft(TripRecord.parse({**document, part.field: tuple(things)}), view.record.external_ref)


@contextmanager
def _of_one(part: Part[P], at: Sequence[int]) -> Iterator[None]:
    """Name the fields of the thing that is sent as they stand in it, not as they stand in its trip."""
    try:
        yield
    except (InvalidInput, DocumentInvalid) as error:
        prefix = f"{part.field}.{at[0]}." if at else ""
        faults = [Fault(one.field.removeprefix(prefix), one.problem, one.expected) for one in error.faults]
        raise type(error)(faults) from error
