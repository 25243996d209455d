"""What a mark knows better than a rule: whether the ground suits, and what is different for a species there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, ClassVar, Literal

from tidecore.errors import Fault, InvalidInput, InvalidRule
from tidecore.place import DeclaredSpecies, Document, Mark, Note
from tidecore.rules.rule import Preferences, Requirements, SpeciesRule
from tidecore.rules.terms import AllOf, AnyOf, AnyTerm

Suitability = Literal["declared", "accepted_bed", "any_bed", "other_bed", "unknown"]

#: Factors that say the same thing in other ways; what a mark says of one replaces what a rule says of the others.
SUBJECTS: dict[str, tuple[str, ...]] = {
    "state of tide": (
        "hours_from_hw",
        "hours_from_lw",
        "minutes_from_slack_after_hw",
        "minutes_from_slack_after_lw",
        "tide_phase",
        "named_phase",
        "fraction",
        "direction",
    ),
    "size of tide": ("height_of_hw", "height_of_lw", "range", "range_ratio", "days_from_springs", "making"),
    "light": (
        "light",
        "sun_altitude",
        "minutes_from_sunrise",
        "minutes_from_sunset",
        "minutes_from_first_light",
        "minutes_from_last_light",
    ),
    "season": ("day_of_year", "calendar_day", "month"),
}
_SUBJECT_OF = {factor: subject for subject, names in SUBJECTS.items() for factor in names}


class RuleOverride(Document):
    """What is different for a species at one mark: terms in place of a rule's of the same subject, or beside them."""

    refusal: ClassVar[type[InvalidInput]] = InvalidRule
    kinded: ClassVar[frozenset[str]] = SpeciesRule.kinded

    require: Requirements = ()
    prefer: Preferences = ()
    note: Note = ""


def subject_of(factor: str) -> str:
    """Return what a factor is about: one of `SUBJECTS`, or else itself."""
    return _SUBJECT_OF.get(factor, factor)


def suitability(rule: SpeciesRule, mark: Mark) -> Suitability:
    """Return what is known of the ground at a mark for a rule.

    Returns
    -------
    str
        ``"declared"``: the mark declares the species, whatever its beds. ``"accepted_bed"``: the rule accepts one of
        the mark's beds. ``"any_bed"``: the rule names no beds, and the mark some. ``"other_bed"``: the mark has only
        beds that the rule does not accept. ``"unknown"``: the mark has neither bed nor declaration.
    """
    if declared(rule, mark) is not None:
        return "declared"
    if not mark.all_beds:
        return "unknown"
    if not rule.beds:
        return "any_bed"
    return "accepted_bed" if rule.accepts_ground(mark) else "other_bed"


def declared(rule: SpeciesRule, mark: Mark) -> DeclaredSpecies | None:
    """Return the mark's declaration of the rule's species, None where it makes none.

    The scientific name decides, whatever its capitals, or the code where both give one.
    """
    for entry in mark.species:
        if entry.scientific_name.casefold() == rule.species.scientific_name.casefold():
            return entry
        if entry.fao_code is not None and entry.fao_code == rule.species.fao_code:
            return entry
    return None


def rule_at(rule: SpeciesRule, mark: Mark) -> SpeciesRule:
    """Return the rule as it holds at a mark: with the mark's override for the species, if it declares one.

    A term of the override replaces the terms of the rule that are about the same subject (`SUBJECTS`, else the same
    factor), in both lists, and groups of which every term is; then it is added. Everything else of the rule stays,
    closed seasons too.

    Raises
    ------
    InvalidRule
        If the override is none, or makes no rule of this one; fields begin with ``species.N.override``.
    """
    entry = declared(rule, mark)
    if entry is None or not entry.override:
        return rule
    path = f"species.{mark.species.index(entry)}.override"
    override = _parsed(entry.override, path)
    subjects = {subject for term in (*override.require, *override.prefer) for subject in _subjects(term)}
    require = [*_kept(rule.require, subjects), *override.require]
    prefer = [*_kept(rule.prefer, subjects), *override.prefer]
    plain = rule.to_document() | {
        "require": [term.to_document() for term in require],
        "prefer": [term.to_document() for term in prefer],
        "notes": "\n".join(filter(None, (rule.notes, override.note)))[:4000],
    }
    try:
        return SpeciesRule.parse(plain)
    except InvalidRule as error:
        raise InvalidRule([Fault(f"{path}.{one.field}", one.problem, one.expected) for one in error.faults]) from error


def check_overrides(mark: Mark) -> None:
    """Refuse a mark of which an override is none.

    Raises
    ------
    InvalidInput
        With every fault of every override; fields begin with ``species.N.override``.
    """
    faults = [fault for k, entry in enumerate(mark.species) for fault in _faults_of(entry, k)]
    if faults:
        raise InvalidInput(faults)


def _faults_of(entry: DeclaredSpecies, place: int) -> Sequence[Fault]:
    if entry.override is None:
        return ()
    try:
        _parsed(entry.override, f"species.{place}.override")
    except InvalidRule as error:
        return error.faults
    return ()


def _parsed(plain: Any, path: str) -> RuleOverride:
    try:
        return RuleOverride.parse(plain)
    except InvalidRule as error:
        faults = [
            Fault(path if one.field == "document" else f"{path}.{one.field}", one.problem, one.expected)
            for one in error.faults
        ]
        raise InvalidRule(faults) from error


def _subjects(term: AnyTerm) -> Iterator[str]:
    """Return what a term is about, the members of a group one by one."""
    if isinstance(term, AllOf | AnyOf):
        for member in term.members:
            yield from _subjects(member)
    else:
        yield subject_of(term.factor)


def _kept(terms: Sequence[AnyTerm], subjects: set[str]) -> list[AnyTerm]:
    """Return the terms that are about something else too."""
    return [term for term in terms if not set(_subjects(term)) <= subjects]
