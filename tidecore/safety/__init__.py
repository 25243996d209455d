"""Whether an outing is safe, as far as that can be told: what is known against it, and what is not known.

``thresholds`` are an account's own, ``outing`` what whoever asks says himself. ``looking`` holds the columns that
hazards hang on, ``water``, ``decks`` and ``air`` grade them line by line, ``assessing`` is the door: `assess` for one
outing, `danger_spans` and `safe_span` for what to stay out of; `Care` is how a search minds them, ``steps`` makes
columns of them. `HazardReport` never says that anything is safe.
"""

from tidecore.safety.assessing import assess, clear_of, danger_shares, danger_spans, outing_span, safe_span, safe_stays
from tidecore.safety.care import CAREFUL, Care
from tidecore.safety.outing import OutingFacts
from tidecore.safety.report import DEFERS, WEIGHT, Grade, Hazard, HazardReport, joined
from tidecore.safety.steps import WorstOfSteps, worst_in_steps
from tidecore.safety.thresholds import DEFAULTS, Thresholds, loosened_words

__all__ = [
    "CAREFUL",
    "DEFAULTS",
    "DEFERS",
    "WEIGHT",
    "Care",
    "Grade",
    "Hazard",
    "HazardReport",
    "OutingFacts",
    "Thresholds",
    "WorstOfSteps",
    "assess",
    "clear_of",
    "danger_shares",
    "danger_spans",
    "joined",
    "loosened_words",
    "outing_span",
    "safe_span",
    "safe_stays",
    "worst_in_steps",
]
