"""Levels and cycles that follow from the constituents of a station.

`range_cycle.range_cycle` follows the daily range from springs to neaps and back; `mean_spring_range` is what a range is
measured against.
"""

from tidecore.datums.range_cycle import RangeCycle, epoch_cycle, mean_spring_range

__all__ = ["RangeCycle", "epoch_cycle", "mean_spring_range"]
