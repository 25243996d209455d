"""Constituents, their arguments, and the fast way from them to heights and rates."""

from tidecore.harmonics.arguments import Arguments, arguments_of
from tidecore.harmonics.conventions import CONVENTIONS, constituent_names, lines_of
from tidecore.harmonics.synthesis import NODAL_OPTIONS, Harmonics, heights_at_stations

__all__ = [
    "CONVENTIONS",
    "NODAL_OPTIONS",
    "Arguments",
    "Harmonics",
    "arguments_of",
    "constituent_names",
    "heights_at_stations",
    "lines_of",
]
