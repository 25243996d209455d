"""Sun and moon over a shore: altitudes, rising and setting, twilight, phases.

``ephemeris`` reads the positions once a span, ``positions`` shares them over all marks, ``topocentre`` turns them
into altitudes, ``passages`` finds when limits are passed, ``solar_days`` keeps it by place, ``events`` and ``phases``
tell the instants. Importing the room does not import skyfield.
"""

from tidecore.sky.events import PolarSpan, SkyEvents, sky_events, sky_events_many
from tidecore.sky.passages import EVENT_KINDS, LIMIT_NAMES
from tidecore.sky.phases import PHASE_NAMES, MoonPhases, moon_phases
from tidecore.sky.positions import BodyAltitudes, Place, SkyPositions, sky_positions
from tidecore.sky.topocentre import Observers, observer

__all__ = [
    "EVENT_KINDS",
    "LIMIT_NAMES",
    "PHASE_NAMES",
    "BodyAltitudes",
    "MoonPhases",
    "Observers",
    "Place",
    "PolarSpan",
    "SkyEvents",
    "SkyPositions",
    "moon_phases",
    "observer",
    "sky_events",
    "sky_events_many",
    "sky_positions",
]
