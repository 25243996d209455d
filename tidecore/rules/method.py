"""Methods: a way of fishing as data, from the hook to the leader, and the sea and light that suit it."""

from __future__ import annotations

import re
from functools import cached_property
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator

from tidecore.place import Bed, Document, Name, Note, Number, fault
from tidecore.rules.rule import Preferences, Species
from tidecore.rules.tree import RuleTree, tree_of

#: Most hooks of a rig, baits, snoods and species of a method.
MOST_HOOKS, MOST_BAITS, MOST_SNOODS, MOST_METHOD_SPECIES = 12, 8, 12, 30

BaitKind = Literal["worm", "crab", "squid", "fish", "shellfish", "lure", "other"]
BaitSize = Literal["small", "medium", "large"]
Band = Literal["margin", "near", "middle", "far"]
_HOOK_SIZE = re.compile(r"([1-9]\d?)(/0)?")


def _whole(given: object) -> object:
    """Return a number without a fraction as the whole one that it is in JSON, so 2.0 as 2."""
    return int(given) if isinstance(given, float) and given.is_integer() else given


Strength = Annotated[Number, Field(gt=0.0, le=300.0)]


def _hook_size(text: str) -> str:
    if not _HOOK_SIZE.fullmatch(text):
        raise fault(f"is {ascii(text)[:30]}", "a size of hook as 6, 1 or 2/0")
    return text


HookSize = Annotated[str, AfterValidator(_hook_size), Field(json_schema_extra={"pattern": f"^{_HOOK_SIZE.pattern}$"})]


def boldness(size: str) -> int:
    """Return how large a size of hook is as a number that grows with it: -6 of a 6, 0 of a 1, 2 of a 2/0."""
    number, _, ought = size.partition("/")
    return int(number) if ought else 1 - int(number)


class Hook(Document):
    """Hooks of one pattern and size: how many of them."""

    pattern: Name
    size: HookSize
    number: Annotated[int, Field(ge=1, le=MOST_HOOKS, strict=True), BeforeValidator(_whole)] = 1


class Snood(Document):
    """A snood: its length [m] and strength [lb]; unknown where it is not said."""

    length_m: Annotated[Number, Field(gt=0.0, le=10.0)]
    strength_lb: Strength | None = None


class PerChange(Document):
    """How many of a bait go on one change of one rod, from and to; a bait that makes two changes is 0.5."""

    from_: Annotated[Number, Field(gt=0.0, le=20.0, alias="from")]
    to: Annotated[Number, Field(gt=0.0, le=20.0)]

    @field_validator("to")
    @classmethod
    def _upwards(cls, to: float, info: ValidationInfo) -> float:
        least = info.data.get("from_")
        if least is not None and to < least:
            raise fault(f"is {to:g}, from {least:g}", "no less than from")
        return to


class Bait(Document):
    """A bait, what it is tipped with (``cocktail``), its size, and how many go on one change.

    ``grams`` is the weight of all of it on one cast. A weight and a number that are not said are unknown, not guessed.
    """

    name: Name
    kind: BaitKind
    cocktail: Name | None = None
    size: BaitSize = "medium"
    grams: Annotated[Number, Field(ge=0.0, le=1000.0)] | None = None
    per_change: PerChange | None = None


class Reach(Document):
    """How far out the bait lies, from the waterline: in a word, and in metres."""

    band: Band
    from_m: Annotated[Number, Field(ge=0.0, le=300.0)]
    to_m: Annotated[Number, Field(gt=0.0, le=300.0)]

    @field_validator("to_m")
    @classmethod
    def _outwards(cls, to: float, info: ValidationInfo) -> float:
        start = info.data.get("from_m")
        if start is not None and to <= start:
            raise fault(f"is {to:g}, from {start:g}", "further out than from_m")
        return to

    @property
    def middle_m(self) -> float:
        """The middle of it [m]."""
        return 0.5 * (self.from_m + self.to_m)


class Lead(Document):
    """A lead: its weight [g], and what sort."""

    grams: Annotated[Number, Field(gt=0.0, le=500.0)]
    type: Literal["plain", "grip", "flat", "ball"]


class MainLine(Document):
    """The line on the reel; a strength that is not said is unknown."""

    material: Literal["mono", "braid"]
    diameter_mm: Annotated[Number, Field(gt=0.0, le=2.0)] | None = None
    strength_lb: Strength | None = None


class ShockLeader(Document):
    """The strong line between main line and rig: strength, how many rod lengths, and turns on the reel besides."""

    strength_lb: Strength
    rod_lengths: Annotated[Number, Field(gt=0.0, le=10.0)] | None = None
    turns: Annotated[Number, Field(ge=0.0, le=50.0)] | None = None


class Method(Document):
    """A way of fishing: rig, hooks, snoods, baits, reach, lead, lines, and what ``suits`` it.

    ``suits`` are terms as the preferences of a species rule: factors with a shape, events, seasons, groups. ``species``
    are those it is for, any where none is named; ``beds`` the grounds it is for, likewise. ``baits`` come in the order
    in which they are tried. ``rods`` is how many rods it is worked with at most. ``style`` says whether the hooks are
    ``"clipped"`` up for the cast or ``"flowing"``. ``provenance`` says where all of it comes from.
    """

    kinded: ClassVar[frozenset[str]] = frozenset({"shape"})

    name: Name
    species: Annotated[tuple[Species, ...], Field(max_length=MOST_METHOD_SPECIES)] = ()
    rig: Name
    style: Literal["clipped", "flowing"] | None = None
    hooks: Annotated[tuple[Hook, ...], Field(max_length=MOST_HOOKS, json_schema_extra={"minItems": 1})]
    snoods: Annotated[tuple[Snood, ...], Field(max_length=MOST_SNOODS)] = ()
    baits: Annotated[tuple[Bait, ...], Field(max_length=MOST_BAITS, json_schema_extra={"minItems": 1})]
    reach: Reach
    lead: Lead | None = None
    main_line: MainLine | None = None
    leader: ShockLeader | None = None
    wading_depth_m: Annotated[Number, Field(ge=0.0, le=2.0)] | None = None
    rods: Annotated[int, Field(ge=1, le=2, strict=True), BeforeValidator(_whole)] = 2
    beds: Annotated[tuple[Bed, ...], Field(max_length=11)] = ()
    suits: Preferences = ()
    notes: Note = ""
    provenance: Name = "not stated"

    @field_validator("hooks", "baits")
    @classmethod
    def _some(cls, items: tuple[Any, ...]) -> tuple[Any, ...]:
        if not items:
            raise fault("is empty", "at least one")
        return items

    @field_validator("snoods")
    @classmethod
    def _hooked(cls, snoods: tuple[Snood, ...], info: ValidationInfo) -> tuple[Snood, ...]:
        """Refuse snoods that no hook is left for."""
        hooks = sum(hook.number for hook in info.data.get("hooks", ()))
        if hooks and len(snoods) > hooks:
            raise fault(f"has {len(snoods)} snoods for {hooks} hooks", "no more snoods than hooks")
        return snoods

    @field_validator("baits")
    @classmethod
    def _each_once(cls, baits: tuple[Bait, ...]) -> tuple[Bait, ...]:
        """Refuse a bait that is there twice."""
        seen = [(bait.name.casefold(), bait.cocktail) for bait in baits]
        twice = next((k for k, one in enumerate(seen) if one in seen[:k]), None)
        if twice is not None:
            raise fault(f"has {baits[twice].name!r} twice", "every bait once")
        return baits

    @cached_property
    def tree(self) -> RuleTree:
        """What suits it, taken apart; the paths begin with ``prefer`` as those of a rule."""
        return tree_of((), self.suits, ())

    @cached_property
    def factor_names(self) -> tuple[str, ...]:
        """The factors that ``suits`` names, each once."""
        return tuple(dict.fromkeys(leaf.factor for leaf in self.tree.leaves))

    @property
    def boldness(self) -> int:
        """Size of its largest hook as a number that grows with it, see `boldness`."""
        return max(boldness(hook.size) for hook in self.hooks)

    def is_for(self, species: Species) -> bool:
        """Return whether it is for a species: one named like it, by code or scientific name, or none named."""
        return not self.species or any(_same(one, species) for one in self.species)


def _same(one: Species, other: Species) -> bool:
    by_code = one.fao_code is not None and one.fao_code == other.fao_code
    return by_code or one.scientific_name.casefold() == other.scientific_name.casefold()


def method_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a method document, with the factors there are.

    What it cannot say, `Method.parse` checks: which way a reach goes, snoods without hooks, baits named twice, and all
    that a rule's terms are checked for.
    """
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Method.model_json_schema(by_alias=True)}
