"""The tide of a place by that of a station: differences of time and height at high and low water, and between.

`place_tide` gives high and low waters at the place and the `Warp` by which its curve is that of the station;
`check_offsets` refuses offsets that make no tide anywhere in a nodal cycle.
"""

from tidecore.offsets.check import check_offsets, needs_check
from tidecore.offsets.tables import place_heights, place_times
from tidecore.offsets.tide import PlaceTide, place_tide
from tidecore.offsets.warp import Warp, WarpedHeight, WarpedRate

__all__ = [
    "PlaceTide",
    "Warp",
    "WarpedHeight",
    "WarpedRate",
    "check_offsets",
    "needs_check",
    "place_heights",
    "place_tide",
    "place_times",
]
