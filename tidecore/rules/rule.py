"""Species rules: what one species wants, as data."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator

from tidecore.errors import InvalidInput, InvalidRule
from tidecore.place import Bed, Document, Mark, Name, Note, Number, fault
from tidecore.rules.shapes import Shape
from tidecore.timeline.registry import factors, find_factor

#: Most terms in each of ``require`` and ``prefer``.
MOST_TERMS = 50
DEFAULT_FLOOR = 0.1
DEFAULT_THRESHOLD = 0.5
DEFAULT_MINUTES = 30.0

UnknownPolicy = Literal["exclude", "ignore", "penalise"]


def _known_factor(name: str) -> str:
    if name not in factors():
        raise fault(f"{ascii(name)[:60]} is no factor", f"one of: {', '.join(factors())}")
    return name


def _list_factors(schema: dict[str, Any]) -> None:
    schema["enum"] = list(factors())


def _not_too_many(terms: object) -> object:
    if isinstance(terms, list | tuple) and len(terms) > MOST_TERMS:
        raise fault(f"has {len(terms)} terms", f"at most {MOST_TERMS}")
    return terms


FactorName = Annotated[str, AfterValidator(_known_factor), Field(json_schema_extra=_list_factors)]


class Requirement(Document):
    """A factor that must suit: the worst of all requirements gates the score, down to 0.

    ``unknown`` says what to do where the factor is unknown: ``"exclude"`` the time, ``"ignore"`` the term, or
    ``"penalise"`` it with 0.1.
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

    @property
    def penalty(self) -> float:
        """Membership that stands for an unknown value where it is penalised."""
        return DEFAULT_FLOOR


class Preference(Requirement):
    """A factor that weighs: ``weight`` against the other preferences; never less than ``floor``, so never fatal.

    Unknown, it is ignored unless ``unknown`` says otherwise; ``"penalise"`` takes the floor.
    """

    unknown: UnknownPolicy = "ignore"
    weight: Annotated[Number, Field(gt=0.0, le=1000.0)] = 1.0
    floor: Annotated[Number, Field(gt=0.0, lt=1.0)] = DEFAULT_FLOOR

    @property
    def penalty(self) -> float:
        """Membership that stands for an unknown value where it is penalised."""
        return self.floor


class Species(Document):
    """A species: scientific name, code of three letters in FAO's ASFIS list where there is one, and a local name."""

    scientific_name: Name
    fao_code: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] | None = None
    local_name: Name | None = None


class SpeciesRule(Document):
    """What one species wants: requirements that gate, preferences that weigh.

    score = min(require) x exp(sum of w ln max(floor, p) / sum of w). A window is a longest span with a score of at
    least ``threshold`` that lasts ``minimum_duration_min`` or more. ``beds`` are the grounds it accepts, any where none
    is named. ``provenance`` says where the numbers come from.
    """

    refusal: ClassVar[type[InvalidInput]] = InvalidRule
    kinded: ClassVar[frozenset[str]] = frozenset({"shape"})

    name: Name
    species: Species
    require: Annotated[tuple[Requirement, ...], Field(max_length=MOST_TERMS), BeforeValidator(_not_too_many)] = ()
    prefer: Annotated[
        tuple[Preference, ...], Field(max_length=MOST_TERMS, validate_default=True), BeforeValidator(_not_too_many)
    ] = ()
    threshold: Annotated[Number, Field(gt=0.0, le=1.0)] = DEFAULT_THRESHOLD
    minimum_duration_min: Annotated[Number, Field(ge=1.0, le=1440.0)] = DEFAULT_MINUTES
    beds: Annotated[tuple[Bed, ...], Field(max_length=11)] = ()
    notes: Note = ""
    provenance: Name = "not stated"

    @field_validator("prefer")
    @classmethod
    def _something_wanted(cls, prefer: tuple[Preference, ...], info: ValidationInfo) -> tuple[Preference, ...]:
        """Refuse a rule that wants nothing."""
        if not prefer and not info.data.get("require", (None,)):
            raise fault("and require are both empty", "at least one factor in require or prefer")
        return prefer

    def accepts_ground(self, mark: Mark) -> bool | None:
        """Return whether one of the mark's beds is accepted; None where the mark states none and it matters."""
        if not self.beds:
            return True
        return not set(self.beds).isdisjoint(mark.beds) if mark.beds else None

    @property
    def terms(self) -> tuple[Requirement, ...]:
        """All terms, requirements first."""
        return (*self.require, *self.prefer)

    @property
    def factor_names(self) -> tuple[str, ...]:
        """The factors the rule names, each once, in the order of the terms."""
        return tuple(dict.fromkeys(term.factor for term in self.terms))


def rule_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a species rule document.

    It lists the factors there are. What it cannot say, `SpeciesRule.parse` checks: the order of corners, and whether
    a shape fits its factor.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **SpeciesRule.model_json_schema(by_alias=True),
    }
