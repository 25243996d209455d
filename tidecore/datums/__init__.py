"""Levels and cycles that follow from the constituents of a station.

`range_cycle.range_cycle` follows the daily range from springs to neaps and back; `mean_spring_range` is what a range is
measured against. `tidal_datums` are the mean and extreme high and low waters; `datum_offset` tells a level above
another datum.
"""

from tidecore.datums.conversion import KnownLevel, StatedLevel, datum_offset, stated_levels
from tidecore.datums.levels import DATUMS, TidalDatums, tidal_datums
from tidecore.datums.range_cycle import EPOCH, RangeCycle, epoch_cycle, mean_spring_range

__all__ = [
    "DATUMS",
    "EPOCH",
    "KnownLevel",
    "RangeCycle",
    "StatedLevel",
    "TidalDatums",
    "datum_offset",
    "epoch_cycle",
    "mean_spring_range",
    "stated_levels",
    "tidal_datums",
]
