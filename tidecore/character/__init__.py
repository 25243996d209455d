"""The tidal character of a station: its type, ranges, age, intervals, double waters, and a typical fortnight."""

from tidecore.character.summary import MainLine, TidalCharacter, Waters, tidal_character
from tidecore.character.typical import TypicalFortnight, typical_fortnight

__all__ = [
    "MainLine",
    "TidalCharacter",
    "TypicalFortnight",
    "Waters",
    "tidal_character",
    "typical_fortnight",
]
