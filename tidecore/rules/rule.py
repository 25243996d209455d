"""Species rules: what one species wants, as data."""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator

from tidecore.errors import InvalidInput, InvalidRule
from tidecore.place import Bed, Document, Mark, Name, Note, Number, fault
from tidecore.rules.seasons import Season
from tidecore.rules.terms import MOST_TERMS, PreferredTerm, RequiredTerm, not_too_many
from tidecore.rules.tree import Judge, RuleTree, tree_of

DEFAULT_THRESHOLD = 0.5
DEFAULT_MINUTES = 30.0

Requirements = Annotated[tuple[RequiredTerm, ...], Field(max_length=MOST_TERMS), BeforeValidator(not_too_many)]
Preferences = Annotated[tuple[PreferredTerm, ...], Field(max_length=MOST_TERMS), BeforeValidator(not_too_many)]


class Species(Document):
    """A species: scientific name, code of three letters in FAO's ASFIS list where there is one, and a local name."""

    scientific_name: Name
    fao_code: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] | None = None
    local_name: Name | None = None


class SpeciesRule(Document):
    """What one species wants: requirements that gate, preferences that weigh.

    score = min(require) x exp(sum of w ln max(floor, p) / sum of w). A term is a factor with its shape, a window about
    an event, a season, or a group of terms, ``all`` or ``any``. A window is a longest span with a score of at least
    ``threshold`` that lasts ``minimum_duration_min`` or more. ``beds`` are the grounds it accepts, any where none is
    named. In a closed season the score is 0; in a release-only season every window says so. ``provenance`` says where
    the numbers come from.
    """

    refusal: ClassVar[type[InvalidInput]] = InvalidRule
    kinded: ClassVar[frozenset[str]] = frozenset({"shape"})

    name: Name
    species: Species
    require: Requirements = ()
    prefer: Annotated[Preferences, Field(validate_default=True)] = ()
    threshold: Annotated[Number, Field(gt=0.0, le=1.0)] = DEFAULT_THRESHOLD
    minimum_duration_min: Annotated[Number, Field(ge=1.0, le=1440.0)] = DEFAULT_MINUTES
    beds: Annotated[tuple[Bed, ...], Field(max_length=11)] = ()
    closed_seasons: Annotated[tuple[Season, ...], Field(max_length=12)] = ()
    release_only_seasons: Annotated[tuple[Season, ...], Field(max_length=12)] = ()
    notes: Note = ""
    provenance: Name = "not stated"

    @field_validator("prefer")
    @classmethod
    def _something_wanted(cls, prefer: tuple[PreferredTerm, ...], info: ValidationInfo) -> tuple[PreferredTerm, ...]:
        """Refuse a rule that wants nothing."""
        if not info.data.get("require", (None,)):
            if not prefer:
                raise fault("and require are both empty", "at least one factor in require or prefer")
            if all(term.weight == 0.0 for term in prefer):
                raise fault("weighs nothing and require is empty", "a requirement, or a weight above 0")
        return prefer

    def accepts_ground(self, mark: Mark) -> bool | None:
        """Return whether one of the mark's beds is accepted; None where the mark states none and it matters."""
        if not self.beds:
            return True
        return not set(self.beds).isdisjoint(mark.all_beds) if mark.all_beds else None

    @cached_property
    def tree(self) -> RuleTree:
        """The rule taken apart."""
        return tree_of(self.require, self.prefer, self.closed_seasons)

    @property
    def terms(self) -> tuple[Judge, ...]:
        """All terms that are no groups, and the closed seasons: requirements first, those inside groups in order."""
        return tuple(leaf.term for leaf in self.tree.leaves)

    @cached_property
    def factor_names(self) -> tuple[str, ...]:
        """The factors the rule names, each once, in the order of the terms."""
        return tuple(dict.fromkeys(leaf.factor for leaf in self.tree.leaves))


def rule_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a species rule document.

    It lists the factors there are. What it cannot say, `SpeciesRule.parse` checks: the order of corners, whether a
    shape fits its factor, how deep groups lie and how many terms there are in all.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **SpeciesRule.model_json_schema(by_alias=True),
    }
