"""Species rules: documents that rest on nothing else."""

from __future__ import annotations

from service.usecases.documents import Documents, DocumentView
from tidecore.rules import SpeciesRule

RuleView = DocumentView[SpeciesRule]

SPECIES_RULES = Documents("species rule", "species_rule", SpeciesRule, lambda unit: unit.species_rules)
