"""Harmonic tides, timelines and windows for the shore: the numbers of Ebbmark.

Everything a script relies on is exported here. What costs time to import is imported on first use: reading a record
and fitting need utide, scipy and xarray; heights, timelines and windows need none of them.
"""

from __future__ import annotations

from tidecore._version import NUMERICS, __version__
from tidecore.conditions import ConditionIssue, Conditions, read_conditions
from tidecore.datums import StatedLevel, TidalDatums
from tidecore.gauges import read_gauge
from tidecore.model import FitDiagnostics, TideModel, fit
from tidecore.place import Mark
from tidecore.quality import QualityReport, check_record
from tidecore.rules import SpeciesRule
from tidecore.timebase import TimeGrid
from tidecore.timeline import build_timeline
from tidecore.windows import find_windows

__all__ = [
    "NUMERICS",
    "ConditionIssue",
    "Conditions",
    "FitDiagnostics",
    "Mark",
    "QualityReport",
    "SpeciesRule",
    "StatedLevel",
    "TidalDatums",
    "TideModel",
    "TimeGrid",
    "__version__",
    "build_timeline",
    "check_record",
    "find_windows",
    "fit",
    "read_conditions",
    "read_gauge",
]
