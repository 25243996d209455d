"""When a rule holds at a mark: scores, windows with an account of themselves, and why there are no more.

``scoring`` turns columns into scores, ``tracks`` samples the factors of a timeline, ``spans`` finds where a score
reaches the threshold, ``account`` says what each window is worth, ``rounds`` lets the searches of many rules go on side
by side, ``search`` is the door: `find_windows`, `find_all_windows` and `explain`.
"""

from tidecore.windows.scoring import Scores, score_columns, score_rule
from tidecore.windows.search import Explanation, TermReport, explain, find_all_windows, find_windows
from tidecore.windows.window import BestHour, Contribution, GroupContribution, UnknownTerm, Window

__all__ = [
    "BestHour",
    "Contribution",
    "Explanation",
    "GroupContribution",
    "Scores",
    "TermReport",
    "UnknownTerm",
    "Window",
    "explain",
    "find_all_windows",
    "find_windows",
    "score_columns",
    "score_rule",
]
