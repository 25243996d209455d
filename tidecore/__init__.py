"""Harmonic tides, timelines and windows for the shore: the numbers of Ebbmark.

Everything a script relies on is exported here. What costs time to import is imported on first use: reading a record
and fitting need utide, scipy and xarray; heights, timelines and windows need none of them.
"""

from __future__ import annotations

from tidecore._version import NUMERICS, __version__
from tidecore.gauges import read_gauge
from tidecore.model import FitDiagnostics, TideModel, fit
from tidecore.place import Mark
from tidecore.timebase import TimeGrid

__all__ = [
    "NUMERICS",
    "FitDiagnostics",
    "Mark",
    "TideModel",
    "TimeGrid",
    "__version__",
    "fit",
    "read_gauge",
]
