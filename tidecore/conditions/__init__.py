"""Forecasts and observations of sea and air, and what follows from them.

``variables`` is the table of quantities; ``issue`` and ``warning`` are the documents, and ``cap`` reads warnings;
``merged`` makes `Conditions` of several issues, as straight ``pieces``, and ``basis`` says what they rest on; ``sea``
is the sea at one mark with its ``past``, and ``in_force`` the official warnings there. ``reading`` takes files: a table
(``delimited``), CF NetCDF (``cf_file``), their units ``spelled`` as ever.
"""

from tidecore.conditions.basis import Basis, IssueUse
from tidecore.conditions.cap import read_cap
from tidecore.conditions.in_force import WARNING_LEVELS, WarningSteps, warning_steps
from tidecore.conditions.issue import ConditionIssue
from tidecore.conditions.merged import CONDITION_NAMES, LOOK_BACK_DAYS, Conditions
from tidecore.conditions.reading import read_conditions
from tidecore.conditions.sea import TRENDS, SeaAtMark, Waters, sea_at
from tidecore.conditions.variables import CLARITIES, PERIOD_ASSUMPTION, VARIABLES, WEEDS, Variable
from tidecore.conditions.warning import OfficialWarning, WarningArea, WarningCircle, WarningReference

__all__ = [
    "CLARITIES",
    "CONDITION_NAMES",
    "LOOK_BACK_DAYS",
    "PERIOD_ASSUMPTION",
    "TRENDS",
    "VARIABLES",
    "WARNING_LEVELS",
    "WEEDS",
    "Basis",
    "ConditionIssue",
    "Conditions",
    "IssueUse",
    "OfficialWarning",
    "SeaAtMark",
    "Variable",
    "WarningArea",
    "WarningCircle",
    "WarningReference",
    "WarningSteps",
    "Waters",
    "read_cap",
    "read_conditions",
    "sea_at",
    "warning_steps",
]
