"""Terms of a rule: factors with a shape, windows about an event or in a season, and groups of terms."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    ValidationInfo,
    WrapValidator,
    field_validator,
    model_validator,
)

from tidecore.errors import one_of
from tidecore.place import Document, Number, fault
from tidecore.rules.seasons import YEAR_DAYS, YearSpan
from tidecore.rules.shapes import Cyclic, Shape, Trapezoid
from tidecore.timeline.registry import factors, find_factor
from tidecore.units import AnyArray, FloatArray

#: Most terms in each of ``require`` and ``prefer``, those inside groups counted.
MOST_TERMS = 50
#: Groups lie at most so deep in each other.
DEEPEST = 5
DEFAULT_FLOOR = 0.1

UnknownPolicy = Literal["exclude", "ignore", "penalise"]

#: Events that windows go by: factor that counts the time from the nearest one, and its units a minute.
EVENT_CLOCKS: dict[str, tuple[str, float]] = {
    "high_water": ("hours_from_hw", 60.0),
    "low_water": ("hours_from_lw", 60.0),
    "slack_after_hw": ("minutes_from_slack_after_hw", 1.0),
    "slack_after_lw": ("minutes_from_slack_after_lw", 1.0),
    "sunrise": ("minutes_from_sunrise", 1.0),
    "sunset": ("minutes_from_sunset", 1.0),
    "first_light": ("minutes_from_first_light", 1.0),
    "last_light": ("minutes_from_last_light", 1.0),
    "moonrise": ("minutes_from_moonrise", 1.0),
    "moonset": ("minutes_from_moonset", 1.0),
}
#: Longest time before or after an event [min].
LONGEST_MIN = 720.0


def _known_factor(name: str) -> str:
    if name not in factors():
        raise fault(f"{ascii(name)[:60]} is no factor", one_of(factors(), name))
    return name


def _list_factors(schema: dict[str, Any]) -> None:
    schema["enum"] = list(factors())


def _known_event(name: str) -> str:
    if name not in EVENT_CLOCKS:
        raise fault(f"{ascii(name)[:60]} is no event", one_of(EVENT_CLOCKS, name))
    return name


def _list_events(schema: dict[str, Any]) -> None:
    schema["enum"] = list(EVENT_CLOCKS)


FactorName = Annotated[str, AfterValidator(_known_factor), Field(json_schema_extra=_list_factors)]
EventName = Annotated[str, AfterValidator(_known_event), Field(json_schema_extra=_list_events)]
Minutes = Annotated[Number, Field(ge=-LONGEST_MIN, le=LONGEST_MIN)]


class Term(Document):
    """What every term says: what to do where it is unknown.

    ``unknown`` is ``"exclude"`` the time, ``"ignore"`` the term, or ``"penalise"`` it with 0.1 (a preference with its
    floor). Inside a group ``"exclude"`` leaves the group unknown, unless its other members decide it.
    """

    kinded: ClassVar[frozenset[str]] = frozenset({"shape"})

    @property
    def penalty(self) -> float:
        """Membership that stands for an unknown value where it is penalised."""
        return DEFAULT_FLOOR


class Requirement(Term):
    """A factor that must suit: the worst of all requirements gates the score, down to 0.

    ``unknown`` says what to do where the factor is unknown: ``"exclude"`` the time, ``"ignore"`` the term, or
    ``"penalise"`` it with 0.1. Inside a group ``"exclude"`` leaves the group unknown, unless its other members decide.
    """

    factor: FactorName
    shape: Shape
    unknown: UnknownPolicy = "exclude"

    @field_validator("shape")
    @classmethod
    def _fitting(cls, shape: Shape, info: ValidationInfo) -> Shape:
        """Refuse a shape that says nothing about the term's factor."""
        name = info.data.get("factor")
        problem = None if name is None else shape.fits(find_factor(name))
        if problem is not None:
            raise fault(f"the {shape.kind} {problem}", "a shape that fits the factor")
        return shape

    def membership(self, values: AnyArray) -> FloatArray:
        """Return how well values of the factor suit, 0 to 1; NaN where they are unknown."""
        return self.shape.membership(values, find_factor(self.factor))

    def corners(self) -> tuple[float, ...]:
        """Return the values of the factor at which the membership turns a corner, both of an edge."""
        return self.shape.corners(find_factor(self.factor))


class EventWindow(Term):
    """From so many minutes after the nearest ``event`` to so many after it; before it they are negative.

    Outside, the membership falls to 0 within ``fade_min``. "2 h before low water to 1 h after" is ``low_water``, -120
    to 60; "the first two hours of dark" is ``last_light``, 0 to 120.
    """

    event: EventName
    from_min: Minutes
    to_min: Minutes
    fade_min: Annotated[Number, Field(ge=0.0, le=LONGEST_MIN)] = 0.0
    unknown: UnknownPolicy = "exclude"

    @model_validator(mode="after")
    def _forwards(self) -> Self:
        if not self.to_min > self.from_min:
            raise fault(f"goes from {self.from_min:g} to {self.to_min:g} min", "to_min after from_min")
        return self

    @property
    def factor(self) -> str:
        """The factor that counts the time from the nearest event."""
        return EVENT_CLOCKS[self.event][0]

    @cached_property
    def shape(self) -> Trapezoid:
        """The window as a shape of that factor."""
        unit = EVENT_CLOCKS[self.event][1]
        corners = (self.from_min - self.fade_min, self.from_min, self.to_min, self.to_min + self.fade_min)
        start, full_start, full_end, end = (corner / unit for corner in corners)
        return Trapezoid(kind="trapezoid", from_=start, full_from=full_start, full_to=full_end, to=end)

    def membership(self, values: AnyArray) -> FloatArray:
        """Return how well values of the factor suit, 0 to 1; NaN where they are unknown."""
        return self.shape.membership(values, find_factor(self.factor))

    def corners(self) -> tuple[float, ...]:
        """Return the values of the factor at which the membership turns a corner, both of an edge."""
        return self.shape.corners(find_factor(self.factor))


class SeasonWindow(Term):
    """A part of the year, both days included; outside, the membership falls to 0 within ``fade_days``."""

    season: YearSpan
    fade_days: Annotated[Number, Field(ge=0.0, le=90.0)] = 0.0
    unknown: UnknownPolicy = "exclude"

    @model_validator(mode="after")
    def _within_a_year(self) -> Self:
        if self.season.length_days + 2.0 * self.fade_days > YEAR_DAYS:
            raise fault(f"lasts {self.season.length_days} days, and fades for {self.fade_days:g} on both sides",
                        f"at most {YEAR_DAYS} days in all")  # fmt: skip
        return self

    @property
    def factor(self) -> str:
        """The factor that counts the days of the year."""
        return "calendar_day"

    @cached_property
    def shape(self) -> Cyclic:
        """The season as a shape of that factor."""
        first, last = float(self.season.first_day), float(self.season.last_day)
        outer = [(day - 1.0) % YEAR_DAYS + 1.0 for day in (first - self.fade_days, last + self.fade_days)]
        return Cyclic(kind="cyclic", from_=outer[0], full_from=first, full_to=last, to=outer[1])

    def membership(self, values: AnyArray) -> FloatArray:
        """Return how well values of the factor suit, 0 to 1."""
        return self.shape.membership(values, find_factor(self.factor))

    def corners(self) -> tuple[float, ...]:
        """Return no corners: the days of the year come whole."""
        return ()


def _dispatched(kinds: Mapping[str, type[Document]], otherwise: type[Document], value: object) -> Any:
    """Return a term checked as the kind that its fields say it is."""
    if isinstance(value, (*kinds.values(), otherwise)):
        return value
    named = [key for key in kinds if key in value] if isinstance(value, Mapping) else []
    if len(named) > 1:
        raise fault(f"names {' and '.join(named)}", f"one of {', '.join(kinds)}, or a factor and its shape")
    return (kinds[named[0]] if named else otherwise).model_validate(value)


def _some_members(members: object) -> object:
    """Refuse a group of nothing."""
    if isinstance(members, list | tuple) and not members:
        raise fault("is an empty group", "at least one member")
    return members


# What a term is shows by its fields; the union alone would name every kind that it is not.
def _term(value: object, _: object) -> Any:
    kinds: dict[str, type[Document]] = {"all": AllOf, "any": AnyOf, "event": EventWindow, "season": SeasonWindow}
    return _dispatched(kinds, Requirement, value)


def _preferred(value: object, _: object) -> Any:
    kinds: dict[str, type[Document]] = {
        "all": PreferredAll,
        "any": PreferredAny,
        "event": PreferredEvent,
        "season": PreferredSeason,
    }
    return _dispatched(kinds, Preference, value)


class AllOf(Term):
    """Members that must all suit: as good as the worst of them; 0 as soon as one of the known ones is 0."""

    all: Members
    unknown: UnknownPolicy = "exclude"

    @property
    def members(self) -> tuple[LeafTerm | AllOf | AnyOf, ...]:
        """The members."""
        return self.all


class AnyOf(Term):
    """Members of which one must suit: as good as the best of them; 1 as soon as one of the known ones is 1."""

    any: Members
    unknown: UnknownPolicy = "exclude"

    @property
    def members(self) -> tuple[LeafTerm | AllOf | AnyOf, ...]:
        """The members."""
        return self.any


LeafTerm = Requirement | EventWindow | SeasonWindow
RequiredTerm = Annotated[Requirement | EventWindow | SeasonWindow | AllOf | AnyOf, WrapValidator(_term)]
Members = Annotated[
    tuple[RequiredTerm, ...],
    Field(max_length=MOST_TERMS, json_schema_extra={"minItems": 1}),
    BeforeValidator(_some_members),
]
AllOf.model_rebuild()
AnyOf.model_rebuild()


class Weighed(Term):
    """A term that weighs: ``weight`` against the other preferences; never less than ``floor``, so never fatal.

    Unknown, it is ignored unless ``unknown`` says otherwise; ``"penalise"`` takes the floor. A weight of 0 is told in
    the account and never counts, known or not.
    """

    unknown: UnknownPolicy = "ignore"
    weight: Annotated[Number, Field(ge=0.0, le=1000.0)] = 1.0
    floor: Annotated[Number, Field(gt=0.0, lt=1.0)] = DEFAULT_FLOOR

    @property
    def penalty(self) -> float:
        """Membership that stands for an unknown value where it is penalised."""
        return self.floor


class Preference(Weighed, Requirement):
    """A factor that weighs: ``weight`` against the other preferences; never less than ``floor``, so never fatal.

    Unknown, it is ignored unless ``unknown`` says otherwise; ``"penalise"`` takes the floor. A weight of 0 is told in
    the account and never counts.
    """


class PreferredEvent(Weighed, EventWindow):
    """A window about an event that weighs."""


class PreferredSeason(Weighed, SeasonWindow):
    """A season that weighs."""


class PreferredAll(Weighed, AllOf):
    """A group that weighs: as good as the worst of its members."""


class PreferredAny(Weighed, AnyOf):
    """A group that weighs: as good as the best of its members."""


PreferredTerm = Annotated[
    Preference | PreferredEvent | PreferredSeason | PreferredAll | PreferredAny, WrapValidator(_preferred)
]
AnyTerm = LeafTerm | AllOf | AnyOf


def not_too_many(terms: object) -> object:
    """Refuse lists of more terms, or deeper groups, than a rule may have, before anything in them is looked at."""
    if not isinstance(terms, list | tuple):
        return terms
    found, level, depth = 0, list(terms), 0
    while level:
        inside = [_members_of(term) for term in level]
        found += sum(members is None for members in inside)
        level = [term for members in inside if members is not None for term in members]
        depth += bool(level)
    if found > MOST_TERMS:
        raise fault(f"has {found} terms", f"at most {MOST_TERMS}")
    if depth > DEEPEST:
        raise fault(f"has groups {depth} deep", f"at most {DEEPEST} deep")
    return terms


def _members_of(term: object) -> list[object] | None:
    """Return the members of what may be a group, in whatever form it comes; None of a single term."""
    if isinstance(term, AllOf | AnyOf):
        return list(term.members)
    if isinstance(term, Mapping):
        for key in ("all", "any"):
            members = term.get(key)
            if isinstance(members, list | tuple):
                return list(members)
    return None
