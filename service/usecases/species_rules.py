"""Species rules: documents that rest on nothing else, and that plans rest on."""

from __future__ import annotations

from service.errors import InUse
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView, link_nothing
from tidecore.rules import SpeciesRule

RuleView = DocumentView[SpeciesRule]


def _release(_context: Context, unit: UnitOfWork, key: str) -> None:
    """Refuse to delete a rule that a plan rests on."""
    plans = unit.plans.users_of_rule(key)
    if plans:
        raise InUse("species rule", key, plans)


SPECIES_RULES = Documents(
    "species rule", "species_rule", SpeciesRule, lambda unit: unit.species_rules, link_nothing, _release
)
