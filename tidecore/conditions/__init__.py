"""Forecasts and observations of sea and air, and what follows from them.

``variables`` is the table of quantities; ``issue`` and ``warning`` are the documents, and ``cap`` reads warnings;
``merged`` makes `Conditions` of several issues, as straight ``pieces``, and ``basis`` says what they rest on.
"""

from tidecore.conditions.basis import Basis, IssueUse
from tidecore.conditions.cap import read_cap
from tidecore.conditions.issue import ConditionIssue
from tidecore.conditions.merged import CONDITION_NAMES, LOOK_BACK_DAYS, Conditions
from tidecore.conditions.variables import VARIABLES, Variable
from tidecore.conditions.warning import OfficialWarning, WarningArea, WarningCircle, WarningReference

__all__ = [
    "CONDITION_NAMES",
    "LOOK_BACK_DAYS",
    "VARIABLES",
    "Basis",
    "ConditionIssue",
    "Conditions",
    "IssueUse",
    "OfficialWarning",
    "Variable",
    "WarningArea",
    "WarningCircle",
    "WarningReference",
    "read_cap",
]
