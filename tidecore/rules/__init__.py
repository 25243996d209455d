"""Species rules as data: what they may say, checked whole, and how well a value suits.

``shapes`` are the curves from a value to a membership, ``terms`` what is made of them, ``seasons`` parts of the year,
``rule`` the documents, ``tree`` a rule taken apart, ``overrides`` what a mark knows better, ``linting`` what a rule
cannot mean.
"""

from tidecore.rules.linting import lint
from tidecore.rules.overrides import RuleOverride, Suitability, check_overrides, rule_at, suitability
from tidecore.rules.remarks import Remark, RemarkKind
from tidecore.rules.rule import Species, SpeciesRule, rule_schema
from tidecore.rules.seasons import Season, YearSpan
from tidecore.rules.shapes import Cyclic, Trapezoid, ValueSet
from tidecore.rules.terms import AllOf, AnyOf, EventWindow, Preference, Requirement, SeasonWindow
from tidecore.rules.tree import Leaf, Node, RuleTree

__all__ = [
    "AllOf",
    "AnyOf",
    "Cyclic",
    "EventWindow",
    "Leaf",
    "Node",
    "Preference",
    "Remark",
    "RemarkKind",
    "Requirement",
    "RuleOverride",
    "RuleTree",
    "Season",
    "SeasonWindow",
    "Species",
    "SpeciesRule",
    "Suitability",
    "Trapezoid",
    "ValueSet",
    "YearSpan",
    "check_overrides",
    "lint",
    "rule_at",
    "rule_schema",
    "suitability",
]
