"""The query surface of the house: factors of a mark over a span, as columns over one axis and at any instant.

``registry`` lists the factors; ``tide``, ``phases``, ``light``, ``season`` and ``sea_and_air`` define them.
"""

from tidecore.timeline.factor import Factor
from tidecore.timeline.registry import factors, find_factor

__all__ = ["Factor", "factors", "find_factor"]
