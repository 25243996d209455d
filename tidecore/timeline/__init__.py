"""The query surface of the house: factors of a mark over a span, as columns over one axis and at any instant.

``registry`` lists the factors; ``tide``, ``phases``, ``light``, ``season``, ``sea_and_air``, ``access``, ``shore`` and
``person`` define them; ``sources`` holds the padded tables they are worked out from, ``frame`` what they share at given
instants, ``frames`` the same at several marks; ``build`` makes a `Timeline`, ``columns`` is one, ``events`` are its key
times, ``shore_reasons`` say why a factor of the shore is unknown.
"""

from tidecore.timeline.build import build_timeline
from tidecore.timeline.called import factor_words
from tidecore.timeline.columns import Timeline
from tidecore.timeline.events import KEY_KINDS, KeyTime, share_sky_events
from tidecore.timeline.factor import Factor
from tidecore.timeline.frames import Frames, Marks
from tidecore.timeline.registry import factors, find_factor
from tidecore.timeline.season import local_days

__all__ = [
    "KEY_KINDS",
    "Factor",
    "Frames",
    "KeyTime",
    "Marks",
    "Timeline",
    "build_timeline",
    "factor_words",
    "factors",
    "find_factor",
    "local_days",
    "share_sky_events",
]
