"""Species rules as data: what they may say, checked whole, and how well a value suits.

``shapes`` are the curves from a value to a membership, ``terms`` what is made of them, ``seasons`` parts of the year,
``rule`` the documents, ``tree`` a rule taken apart, ``overrides`` what a mark knows better, ``linting`` what a rule
cannot mean. ``method`` are the documents of methods, ``tackle`` checks their lines, ``holding`` in what stream their
leads hold, ``bait`` says how long baits last and how many to take, ``rod_plan`` what each rod does.
"""

from tidecore.rules.bait import BagItem, BaitLife, bag_item, bait_changes, bait_life, crab_ground
from tidecore.rules.holding import LeadHold, lead_hold
from tidecore.rules.linting import lint
from tidecore.rules.method import Bait, Hook, Method, Reach, method_schema
from tidecore.rules.overrides import RuleOverride, Suitability, check_overrides, rule_at, suitability
from tidecore.rules.remarks import Remark, RemarkKind
from tidecore.rules.rod_plan import RodPlan, RodState, Step, judging_min, plan_rods
from tidecore.rules.rule import Species, SpeciesRule, rule_schema
from tidecore.rules.seasons import Season, YearSpan
from tidecore.rules.shapes import Cyclic, Trapezoid, ValueSet
from tidecore.rules.tackle import LeaderNeed, TackleRemark, check_tackle, leader_needed
from tidecore.rules.terms import AllOf, AnyOf, EventWindow, Preference, Requirement, SeasonWindow
from tidecore.rules.tree import Leaf, Node, RuleTree

__all__ = [
    "AllOf",
    "AnyOf",
    "BagItem",
    "Bait",
    "BaitLife",
    "Cyclic",
    "EventWindow",
    "Hook",
    "LeadHold",
    "LeaderNeed",
    "Leaf",
    "Method",
    "Node",
    "Preference",
    "Reach",
    "Remark",
    "RemarkKind",
    "Requirement",
    "RodPlan",
    "RodState",
    "RuleOverride",
    "RuleTree",
    "Season",
    "SeasonWindow",
    "Species",
    "SpeciesRule",
    "Step",
    "Suitability",
    "TackleRemark",
    "Trapezoid",
    "ValueSet",
    "YearSpan",
    "bag_item",
    "bait_changes",
    "bait_life",
    "check_overrides",
    "check_tackle",
    "crab_ground",
    "judging_min",
    "lead_hold",
    "leader_needed",
    "lint",
    "method_schema",
    "plan_rods",
    "rule_at",
    "rule_schema",
    "suitability",
]
