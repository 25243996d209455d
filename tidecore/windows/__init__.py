"""When a rule holds at a mark: scores, windows with an account of themselves, and why there are no more.

``scoring`` turns columns into scores, ``tracks`` samples the factors of a timeline, ``spans`` finds where a score
reaches the threshold, ``account`` says what each window is worth, ``rounds`` lets the searches of many rules go on side
by side, ``search`` is the door: `find_windows`, `find_all_windows` and `explain`. ``picks`` says which
methods a session asks for, ``method_plan`` what to do with them.
"""

from tidecore.windows.method_plan import SessionPlan, SessionRemark, two_rods
from tidecore.windows.picks import MethodPick, MethodPicks, NotPicked, Reason, pick_methods
from tidecore.windows.scoring import Scores, score_columns, score_rule
from tidecore.windows.search import Explanation, TermReport, explain, find_all_windows, find_windows
from tidecore.windows.window import BestHour, Contribution, GroupContribution, UnknownTerm, Window

__all__ = [
    "BestHour",
    "Contribution",
    "Explanation",
    "GroupContribution",
    "MethodPick",
    "MethodPicks",
    "NotPicked",
    "Reason",
    "Scores",
    "SessionPlan",
    "SessionRemark",
    "TermReport",
    "UnknownTerm",
    "Window",
    "explain",
    "find_all_windows",
    "find_windows",
    "pick_methods",
    "score_columns",
    "score_rule",
    "two_rods",
]
