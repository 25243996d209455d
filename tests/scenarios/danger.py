"""What a card expects of safety: outings from arriving to leaving, what endangers them, what nobody assessed."""

from __future__ import annotations

from typing import Annotated, Literal, Self, get_args

from pydantic import AfterValidator, Field, model_validator

from tests.scenarios.moments import Instant, moment
from tidecore.conditions import OfficialWarning
from tidecore.place import Document, Name, fault

#: What a card may call a danger; in plain words, before anything that finds them was built.
HazardKind = Literal[
    "swell_on_ledge",
    "shore_break",
    "cut_off",
    "run_up",
    "soft_mud",
    "thunder",
    "visibility",
    "official_warning",
    "cold_water",
    "alone",
    "first_visit",
    "bathers",
    "overtopping",
    "wind_at_edge",
]
HAZARD_KINDS: tuple[str, ...] = get_args(HazardKind)
Grade = Literal["info", "caution", "danger"]
#: From the least to the gravest.
GRADES: tuple[str, ...] = get_args(Grade)
#: What may be said to be not assessed.
Unassessed = Literal["sea", "run_up", "way_back", "thunder", "visibility", "official_warning"]


def _some(kinds: tuple[HazardKind, ...]) -> tuple[HazardKind, ...]:
    if not kinds:
        raise fault("is empty", "at least one kind of hazard")
    return kinds


class CardWarning(Document):
    """An official warning for the coast of a card."""

    event: Name
    severity: Literal["minor", "moderate", "severe", "extreme"]
    certainty: Literal["possible", "likely", "observed"]
    sent: Instant
    onset: Instant
    expires: Instant
    headline: Name

    def to_warning(self, latitude: float, longitude: float) -> OfficialWarning:
        """Return the warning as the engine takes it, for 30 km about a point."""
        document = self.model_dump(mode="json", exclude_none=True)
        circle = {"latitude": latitude, "longitude": longitude, "radius_km": 30.0}
        named = {"identifier": f"card {self.event} {self.sent}", "sender": "invented office", "msg_type": "alert"}
        areas = [{"description": "the coast of the card", "circles": [circle]}]
        return OfficialWarning.parse({**document, **named, "areas": areas})


class ExpectedHazard(Document):
    """One of these kinds, graded so at least; over all of ``from`` to ``to``, or at any time where they are left out.

    A span graded more gravely than is asked for counts too.
    """

    kinds: Annotated[tuple[HazardKind, ...], AfterValidator(_some)]
    at_least: Grade
    from_: Annotated[Instant | None, Field(alias="from")] = None
    to: Instant | None = None

    @model_validator(mode="after")
    def _both_or_neither(self) -> Self:
        if (self.from_ is None) != (self.to is None):
            raise fault("has one end", "from and to, or neither")
        return self


class ExpectedOuting(Document):
    """What must be found of one outing, from setting out from safe ground to being back on it."""

    mark: str
    from_: Annotated[Instant, Field(alias="from")]
    to: Instant
    at_least: Grade = "caution"
    at_most: Literal["caution", "danger"] = "danger"
    hazards: tuple[ExpectedHazard, ...] = ()
    #: Kinds that must not be told of it as a caution or a danger: who cries wolf is not heard.
    none_of: tuple[HazardKind, ...] = ()
    not_assessed: tuple[Unassessed, ...] = ()

    @model_validator(mode="after")
    def _of_one_mind(self) -> Self:
        if moment(self.from_) >= moment(self.to):
            raise fault("ends before it begins", "an end after the beginning")
        if GRADES.index(self.at_least) > GRADES.index(self.at_most):
            raise fault(f"is at least {self.at_least} and at most {self.at_most}", "a grade that can be")
        for one in self.hazards:
            if GRADES.index(one.at_least) > GRADES.index(self.at_least):
                raise fault(
                    f"expects {one.at_least} in an outing of {self.at_least}", "no hazard graver than the outing"
                )
            if set(one.kinds) & set(self.none_of):
                raise fault("expects what it forbids", "a kind expected, or forbidden")
            if one.from_ is not None and one.to is not None:
                inside = moment(self.from_) <= moment(one.from_) < moment(one.to) <= moment(self.to)
                if not inside:
                    raise fault("expects a hazard outside the outing", "spans within the outing")
        return self
