"""A trip with all that belongs to it, checked against each other; corrections that keep the original."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Sequence
from itertools import count, pairwise
from typing import Annotated, Any, TypeVar

from pydantic import Field, JsonValue, ValidationInfo, field_validator

from tidecore.catchlog.moments import Moment, outside, written
from tidecore.catchlog.trip import Bite, Catch, Deployment, Trip, TripPart
from tidecore.documents import Document, Flaw, Name, Note, refuse, shown
from tidecore.errors import Fault, InvalidInput

#: Most deployments of one trip; most bites, and most catches.
MOST_DEPLOYMENTS, MOST_EVENTS = 200, 5000
#: Most corrections of one trip.
MOST_CORRECTIONS = 1000

P = TypeVar("P", bound=TripPart)


#: Where in a record something stands, as ``catches.2.length.cm``.
RecordPath = Annotated[str, Field(pattern=r"^[a-z_]+(\.([a-z_]+|[0-9]{1,5})){0,8}$")]


class Correction(Document):
    """What is put right in a document: ``path`` (as ``catches.2.length.cm``), what it was, what it is now, why, when.

    Whoever keeps the document keeps it as it was, too; `corrected` makes the one that holds now.
    """

    path: RecordPath
    was: JsonValue
    now: JsonValue
    at: Moment
    why: Note = ""
    by: Name | None = None


class TripRecord(Document):
    """A trip, its deployments, bites and catches, and what was corrected in it since it was written.

    Deployments of one rod do not overlap and lie within the trip; a bite or catch lies within its deployment, as far as
    its own precision tells. A trip that was not fished has none of them, and a blank no catch. Those without a ``ref``
    are given one: ``d1``, ``b1``, ``c1`` and so on.
    """

    trip: Trip
    deployments: Annotated[tuple[Deployment, ...], Field(max_length=MOST_DEPLOYMENTS)] = ()
    bites: Annotated[tuple[Bite, ...], Field(max_length=MOST_EVENTS)] = ()
    catches: Annotated[tuple[Catch, ...], Field(max_length=MOST_EVENTS)] = ()
    corrections: Annotated[tuple[Correction, ...], Field(max_length=MOST_CORRECTIONS)] = ()

    # Each is held against those before it, where these are fit by themselves.
    @field_validator("deployments")
    @classmethod
    def _one_after_the_other(cls, found: tuple[Deployment, ...], info: ValidationInfo) -> tuple[Deployment, ...]:
        trip, named = info.data.get("trip"), _each_named(found)
        flaws = [] if named else _refs("deployments", found)
        if len(found) > 1:
            flaws += overlaps(found)
        if trip is not None:
            flaws += _unfished(trip, found)
            flaws += _off_the_trip(trip, found)
        refuse(found, flaws)
        return found if named else _named("d", found)

    @field_validator("bites")
    @classmethod
    def _bites_within(cls, bites: tuple[Bite, ...], info: ValidationInfo) -> tuple[Bite, ...]:
        if not bites:
            return bites
        trip, deployments = info.data.get("trip"), info.data.get("deployments")
        named = _each_named(bites)
        refuse(bites, [*([] if named else _refs("bites", bites)), *_misplaced(bites, trip, deployments)])
        return bites if named else _named("b", bites)

    @field_validator("catches")
    @classmethod
    def _catches_within(cls, catches: tuple[Catch, ...], info: ValidationInfo) -> tuple[Catch, ...]:
        if not catches:
            return catches
        trip, deployments = info.data.get("trip"), info.data.get("deployments")
        named = _each_named(catches)
        flaws = [*([] if named else _refs("catches", catches)), *_misplaced(catches, trip, deployments)]
        if trip is not None and trip.outcome == "blank":
            flaws.append(Flaw((), f"has {len(catches)} of a blank", "no catch, or the outcome fished"))
        refuse(catches, flaws)
        return catches if named else _named("c", catches)

    def takes(self, more: Sequence[Catch]) -> bool:
        """Return whether the trip with catches after its own is one; why it is not, only `parse` of the whole says."""
        if not more:
            return True
        catches = (*self.catches, *more)
        if len(catches) > MOST_EVENTS or not _each_named(catches) or self.trip.outcome == "blank":
            return False
        return not any(_misplaced(more, self.trip, self.deployments))


def overlaps(deployments: Sequence[Deployment]) -> Iterator[Flaw]:
    """Give a flaw for each deployment that begins before another of the same rod has ended."""
    by_rod: dict[str, list[int]] = {}
    for place, one in enumerate(deployments):
        by_rod.setdefault(one.rod, []).append(place)
    for places in by_rod.values():
        places.sort(key=lambda place: (deployments[place].start, deployments[place].end))
        last = places[0]
        for _, place in pairwise(places):
            before, one = deployments[last], deployments[place]
            if one.start < before.end:
                problem = f"is {written(one.start)}, while rod {shown(one.rod)} is in use by deployments.{last}"
                yield Flaw(
                    (place, "start"), problem, f"one deployment of a rod at a time: {written(before.end)} or later"
                )
            if one.end > before.end:
                last = place


def _each_named(things: Sequence[TripPart]) -> bool:
    """Return whether each thing has a ``ref``, and none that of another."""
    refs = {one.ref for one in things}
    return len(refs) == len(things) and "" not in refs


def _refs(name: str, things: Sequence[TripPart]) -> list[Flaw]:
    """Return a flaw for each thing with the ``ref`` of one before it."""
    flaws: list[Flaw] = []
    seen: dict[str, int] = {}
    for place, one in enumerate(things):
        if one.ref and seen.setdefault(one.ref, place) != place:
            flaws.append(Flaw((place, "ref"), f"is that of {name}.{seen[one.ref]} too", "each ref once"))
    return flaws


def _named(letter: str, things: tuple[P, ...]) -> tuple[P, ...]:
    """Return things with a ``ref`` each: the first number that is free, so that the same again is named the same."""
    taken = {one.ref for one in things}
    free = (ref for number in count(1) if (ref := f"{letter}{number}") not in taken)
    return tuple(one if one.ref else one.model_copy(update={"ref": next(free)}) for one in things)


def _unfished(trip: Trip, things: Sequence[object]) -> list[Flaw]:
    if not things or trip.outcome != "not_fished":
        return []
    return [Flaw((), f"has {len(things)} of a trip that was not fished", "none, or another outcome")]


def _off_the_trip(trip: Trip, deployments: Iterable[Deployment]) -> Iterator[Flaw]:
    for place, one in enumerate(deployments):
        if trip.start <= one.start and (trip.end is None or one.end <= trip.end):
            continue
        for field, moment in (("start", one.start), ("end", one.end)):
            if outside(moment, trip.time_precision_min, trip.start, trip.end):
                yield Flaw((place, field), f"is {written(moment)}, outside the trip", "a time within the trip")


def _misplaced(
    events: Sequence[Bite | Catch], trip: Trip | None, deployments: Sequence[Deployment] | None
) -> Iterator[Flaw]:
    """Give a flaw for each event that is not where it says; None is of a trip or deployments that are not fit."""
    if trip is not None:
        yield from _unfished(trip, events)
    by_ref = {one.ref: one for one in deployments or ()}
    for place, event in enumerate(events):
        if event.deployment is not None and deployments is not None:
            its = by_ref.get(event.deployment)
            if its is None:
                yield Flaw(
                    (place, "deployment"), f"is {shown(event.deployment)}", "the ref of a deployment of this trip"
                )
            elif outside(event.at, event.precision_min, its.start, its.end):
                expected = f"from {written(its.start)} to {written(its.end)}, give or take {event.precision_min} min"
                yield Flaw((place, "at"), f"is {written(event.at)}, outside its deployment", expected)
        elif trip is not None:
            slack = event.precision_min + trip.time_precision_min
            if outside(event.at, slack, trip.start, trip.end):
                yield Flaw((place, "at"), f"is {written(event.at)}, outside the trip", "a time within the trip")


def corrected(document: dict[str, Any], corrections: Sequence[Correction]) -> dict[str, Any]:
    """Return plain data with corrections made one after the other; what is given stays as it is.

    Raises
    ------
    InvalidInput
        With every correction that names no field there is, says another value than stands there, or changes nothing.
    """
    made, faults = copy.deepcopy(document), []
    for place, one in enumerate(corrections):
        steps = one.path.split(".")
        holder: Any = made
        for step in steps[:-1]:
            holder = _inside(holder, step)
        last = _key(holder, steps[-1])
        if last is None:
            faults.append(Fault(f"{place}.path", f"is {one.path}, which is no field", "a field of the document"))
        elif not _same(holder[last], one.was):
            expected = f"{shown(holder[last])}, as it stands"
            faults.append(Fault(f"{place}.was", f"is {shown(one.was)}", expected))
        elif _same(one.now, one.was):
            faults.append(Fault(f"{place}.now", f"is {shown(one.now)}, as it was", "another value than `was`"))
        else:
            holder[last] = copy.deepcopy(one.now)
    if faults:
        raise InvalidInput(faults)
    return made


def _same(one: Any, other: Any) -> bool:
    """Return whether two values are the same in JSON: there 1 is 1.0, and is not true as it is in Python."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[name], other[name]) for name in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return isinstance(one, bool) == isinstance(other, bool) and bool(one == other)


def _key(holder: Any, step: str) -> str | int | None:
    """Return the key or index that a step names in a container; None where there is none."""
    if isinstance(holder, dict):
        return step if step in holder else None
    if isinstance(holder, list) and step.isdecimal() and int(step) < len(holder):
        return int(step)
    return None


def _inside(holder: Any, step: str) -> Any:
    key = _key(holder, step)
    return None if key is None else holder[key]
