"""When a rule holds at a mark, and when to go: scores, windows, sessions, and why there are no more.

``scoring`` turns columns into scores, ``scorer`` the same fast where much never changes, ``tracks`` samples the factors
of a timeline, which marks share where they may, ``spans`` finds where a score reaches the threshold, ``weighing``
integrates over each window, ``account`` says what it is worth, whole or in brief, ``rounds`` lets the searches of many
rules go on side by side, ``search`` is their door: `find_windows`, `find_all_windows` and `explain`. ``curves`` holds
what several rules find at a mark, ``outings`` and ``two_marks`` when to be where, ``fished`` what of the windows they
fish, ``ranking`` in what order they come, ``sessions`` the account of each: `find_sessions`. ``obstacles`` says why
not, ``comparison`` which of two, ``bait`` when to gather it. ``picks`` says which methods a session asks for,
``method_plan`` what to do with them. ``planned`` tells the best sessions of a month briefly, for plans that are stored:
`plan_sessions`.
"""

from tidecore.windows.bait import BaitOuting, bait_dangers, find_bait_outings
from tidecore.windows.comparison import Comparison, compare_sessions
from tidecore.windows.curves import MarkSearch, search_mark, search_marks
from tidecore.windows.fished import FishedPart
from tidecore.windows.method_plan import SessionPlan, SessionRemark, two_rods
from tidecore.windows.nothing import explain_no_outings
from tidecore.windows.obstacle import Obstacle, WhyNot
from tidecore.windows.obstacles import explain_why_not
from tidecore.windows.options import SessionOptions
from tidecore.windows.outings import Outing, find_outings
from tidecore.windows.picks import LeadCheck, MethodPick, MethodPicks, NotPicked, Reason, pick_methods
from tidecore.windows.planned import PlannedMark, PlannedSession, plan_marks, plan_sessions
from tidecore.windows.ranking import RankedOuting, rank_outings
from tidecore.windows.scoring import Scores, score_columns, score_rule
from tidecore.windows.search import (
    Explanation,
    TermReport,
    explain,
    find_all_windows,
    find_windows,
    find_windows_at_marks,
)
from tidecore.windows.session import Lull, Session, SessionLeg, SessionWindow
from tidecore.windows.sessions import complete, complete_all, find_sessions, session_at
from tidecore.windows.two_marks import find_double_outings
from tidecore.windows.verdicts import Verdicts
from tidecore.windows.window import BestHour, BriefWindow, Contribution, GroupContribution, UnknownTerm, Window

__all__ = [
    "BaitOuting",
    "BestHour",
    "BriefWindow",
    "Comparison",
    "Contribution",
    "Explanation",
    "FishedPart",
    "GroupContribution",
    "LeadCheck",
    "Lull",
    "MarkSearch",
    "MethodPick",
    "MethodPicks",
    "NotPicked",
    "Obstacle",
    "Outing",
    "PlannedMark",
    "PlannedSession",
    "RankedOuting",
    "Reason",
    "Scores",
    "Session",
    "SessionLeg",
    "SessionOptions",
    "SessionPlan",
    "SessionRemark",
    "SessionWindow",
    "TermReport",
    "UnknownTerm",
    "Verdicts",
    "WhyNot",
    "Window",
    "bait_dangers",
    "compare_sessions",
    "complete",
    "complete_all",
    "explain",
    "explain_no_outings",
    "explain_why_not",
    "find_all_windows",
    "find_bait_outings",
    "find_double_outings",
    "find_outings",
    "find_sessions",
    "find_windows",
    "find_windows_at_marks",
    "pick_methods",
    "plan_marks",
    "plan_sessions",
    "rank_outings",
    "score_columns",
    "score_rule",
    "search_mark",
    "search_marks",
    "session_at",
    "two_rods",
]
