"""Species rules as data: what they may say, checked whole, and how well a value suits.

``shapes`` are the curves from a value to a membership, ``rule`` the documents made of them.
"""

from tidecore.rules.rule import Preference, Requirement, Species, SpeciesRule, rule_schema
from tidecore.rules.shapes import Cyclic, Trapezoid, ValueSet

__all__ = [
    "Cyclic",
    "Preference",
    "Requirement",
    "Species",
    "SpeciesRule",
    "Trapezoid",
    "ValueSet",
    "rule_schema",
]
