"""When a rule holds at a mark: scores, windows with an account of themselves, and why there are no more.

``scoring`` turns columns into scores, ``spans`` finds where they reach the threshold, ``account`` says what each
window is worth, ``search`` is the door: `find_windows` and `explain`.
"""

from tidecore.windows.scoring import Scores, score_columns, score_rule
from tidecore.windows.search import Explanation, TermReport, explain, find_windows
from tidecore.windows.window import BestHour, Contribution, UnknownTerm, Window

__all__ = [
    "BestHour",
    "Contribution",
    "Explanation",
    "Scores",
    "TermReport",
    "UnknownTerm",
    "Window",
    "explain",
    "find_windows",
    "score_columns",
    "score_rule",
]
