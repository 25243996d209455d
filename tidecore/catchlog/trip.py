"""The documents of a trip, each by itself: the trip, its deployments and casts, bites, catches."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, ValidationInfo, field_validator, model_validator

from tidecore.catchlog.moments import Count, Moment, Precision, Some, backwards, outside, written
from tidecore.catchlog.sizes import Length, Weight, longest_cm
from tidecore.documents import Document, Flaw, Name, Note, Number, fault, plain_text, refuse, shown
from tidecore.rules import Species

#: Longest trip, and longest deployment [h].
LONGEST_TRIP_H = 96.0
LONGEST_TRIP = timedelta(hours=LONGEST_TRIP_H)
#: Most casts, changes of one deployment.
MOST_CASTS = 1000

Outcome = Literal["fished", "blank", "not_fished"]
WhyNot = Literal["weed", "surf", "spot_taken", "access_shut", "other"]


class Trip(Document):
    """A session that happened, or that did not: ``not_fished`` has no effort, and says why.

    ``mark`` is a reference that whoever keeps the marks understands; ``place`` says where along it. ``party`` counts
    who fished on this record, ``others_rods`` the rods of strangers nearby.
    """

    mark: Name
    start: Moment
    end: Moment | None = None
    time_precision_min: Precision = 5
    purpose: Literal["pleasure", "match", "scouting", "bait"] = "pleasure"
    drawn_peg: Name | None = None
    place: Note = ""
    target: Annotated[tuple[Species, ...], Field(max_length=20)] = ()
    party: Some = 1
    others_rods: Count | None = None
    others_fish: Note = ""
    sea_seen: Name | None = None
    clarity_seen: Literal["clear", "tinge", "coloured", "thick"] | None = None
    weed_seen: Literal["none", "odd_strand", "every_cast", "unfishable"] | None = None
    slack_seen: Annotated[tuple[Moment, ...], Field(max_length=20)] = ()
    why_left: Note = ""
    outcome: Outcome
    why_not: WhyNot | None = Field(default=None, validate_default=True)
    notes: Note = ""

    @field_validator("end")
    @classmethod
    def _after_its_start(cls, end: Moment | None, info: ValidationInfo) -> Moment | None:
        start = info.data.get("start")
        if end is not None and start is not None:
            if end <= start:
                refuse(end, backwards((), end, start))
            if end - start > LONGEST_TRIP:
                raise fault(f"is {written(end)}", f"an end at most {LONGEST_TRIP_H:g} h after the start")
        return end

    @field_validator("drawn_peg")
    @classmethod
    def _in_a_match(cls, peg: str | None, info: ValidationInfo) -> str | None:
        if peg is not None and info.data.get("purpose", "match") != "match":
            raise fault("is given of a trip that is no match", "purpose match, or no drawn peg")
        return peg

    @field_validator("why_not")
    @classmethod
    def _of_what_was_not(cls, why: WhyNot | None, info: ValidationInfo) -> WhyNot | None:
        outcome = info.data.get("outcome")
        if outcome == "not_fished" and why is None:
            raise fault("is not given", "why nobody fished: weed, surf, spot_taken, access_shut or other")
        if outcome in ("fished", "blank") and why is not None:
            raise fault(f"is {why} of a trip that was fished", "null, or the outcome not_fished")
        return why


class Reach(Document):
    """How far out the bait lay, from the waterline [m], and how that is known; guesses run long."""

    metres: Annotated[Number, Field(ge=0.0, le=400.0)]
    known: Literal["guessed", "counted", "paced", "measured"]


class Cast(Document):
    """One cast: in the water from ``out`` to ``in``, and how the bait came back."""

    out: Moment
    in_: Annotated[Moment, Field(alias="in")]
    bait_back: Literal["whole", "nibbled", "stripped", "crabbed", "weeded"] | None = None

    @model_validator(mode="after")
    def _in_after_out(self) -> Self:
        if self.in_ <= self.out:
            refuse(self, backwards(("in",), self.in_, self.out))
        return self


class MethodChange(Document):
    """What was changed on a rod, when, and to what: one thing at a time tells most."""

    at: Moment
    what: Literal["range", "bait", "rig", "other"]
    to: Note = ""


def _cast_after_cast(casts: tuple[Cast, ...]) -> tuple[Cast, ...]:
    if len(casts) > 1:
        refuse(casts, list(_too_early(casts)))
    return casts


def _too_early(casts: tuple[Cast, ...]) -> Iterator[Flaw]:
    for place, (before, cast) in enumerate(pairwise(casts), 1):
        if cast.out < before.in_:
            problem = f"is {written(cast.out)}, before the cast before it is in at {written(before.in_)}"
            yield Flaw((place, "out"), problem, "casts of one rod one after the other")


_NO_PATH = re.compile("[/\n\t]")


def _fit_for_a_path(ref: str) -> str:
    if ref and not ref.isalnum() and (not ref.strip() or _NO_PATH.search(ref) or ref in (".", "..")):
        raise fault(f"is {shown(ref)}", "one line of text without a slash, not blank, neither . nor ..")
    return ref


#: Name of a thing within its trip, fit for a path. A `TripRecord` makes one where it is left out, and so empty.
Ref = Annotated[
    str,
    Field(max_length=120, description="Its name within the trip; made where it is left out."),
    AfterValidator(plain_text),
    AfterValidator(_fit_for_a_path),
]


class TripPart(Document):
    """What a trip has several of; ``ref`` is its name within the trip."""

    ref: Ref = ""


class Deployment(TripPart):
    """One rod with one method in use, from ``start`` to ``end``.

    ``method`` is a reference that whoever keeps the methods understands. With no ``casts`` it is not known when the
    bait was in the water. A rod with an ``aim`` of its own is not held against another's.
    """

    rod: Name
    start: Moment
    end: Moment
    method: Name | None = None
    aim: Name | None = None
    changes: Annotated[tuple[MethodChange, ...], Field(max_length=MOST_CASTS)] = ()
    reach: Reach | None = None
    line: Literal["held", "dragged", "drifting"] | None = None
    tangles: Count = 0
    snags: Count = 0
    gear_lost: Note = ""
    casts: Annotated[tuple[Cast, ...], Field(max_length=MOST_CASTS), AfterValidator(_cast_after_cast)] = ()

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.end > self.start and not self.casts and not self.changes:
            return self
        flaws = backwards(("end",), self.end, self.start)
        if not flaws:
            within = "a time within the deployment"
            # Casts lie one after the other: where the first and the last are within it, all are.
            whole = not self.casts or (self.casts[0].out >= self.start and self.casts[-1].in_ <= self.end)
            for place, cast in enumerate(() if whole else self.casts):
                if cast.out < self.start:
                    flaws.append(Flaw(("casts", place, "out"), f"is {written(cast.out)}, before the start", within))
                if cast.in_ > self.end:
                    flaws.append(Flaw(("casts", place, "in"), f"is {written(cast.in_)}, after the end", within))
            flaws += [
                Flaw(("changes", place, "at"), f"is {written(change.at)}, outside the deployment", within)
                for place, change in enumerate(self.changes)
                if outside(change.at, 0, self.start, self.end)
            ]
        refuse(self, flaws)
        return self


class Bite(TripPart):
    """A bite: what it was like and what came of it. ``deployment`` is the `ref` of one, where it is known."""

    at: Moment
    precision_min: Precision = 5
    deployment: Name | None = None
    kind: Literal["rattle", "knock", "pull_down", "slack_line"]
    outcome: Literal["missed", "lost_in_surf", "at_snag", "bitten_off", "hook_pulled", "landed"]


class Catch(TripPart):
    """One fish: species, what was measured of it, and what became of it. ``deployment`` is the `ref` of one."""

    at: Moment
    precision_min: Precision = 5
    deployment: Name | None = None
    species: Species
    length: Length | None = None
    weight: Weight | None = None
    hook_position: Literal["lip", "mouth", "throat", "gut", "outside"] | None = None
    fate: Literal["kept", "returned"]
    condition: Literal["alive", "dead"] | None = None
    notes: Note = ""

    @field_validator("length")
    @classmethod
    def _believable(cls, length: Length | None, info: ValidationInfo) -> Length | None:
        species = info.data.get("species")
        if length is not None and species is not None and length.cm > (longest := longest_cm(species)):
            problem = f"is {length.cm:g}, of {species.scientific_name}"
            refuse(length, [Flaw(("cm",), problem, f"at most {longest:g} cm (a quarter over the longest known)")])
        return length
