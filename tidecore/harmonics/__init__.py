"""Constituents, their arguments, and the fast way from them to heights and rates."""

from tidecore.harmonics.arguments import Arguments, arguments_of
from tidecore.harmonics.conventions import CONVENTIONS, MEANINGS, argument_table, constituent_names, lines_of
from tidecore.harmonics.synthesis import NODAL_OPTIONS, Harmonics, heights_at_stations

__all__ = [
    "CONVENTIONS",
    "MEANINGS",
    "NODAL_OPTIONS",
    "Arguments",
    "Harmonics",
    "argument_table",
    "arguments_of",
    "constituent_names",
    "heights_at_stations",
    "lines_of",
]
