"""Where a mark lies and what is known of it: position, tide, stream, ground, ways in and out."""

from tidecore.documents import MOST_FAULTS, Document, Name, Note, Number, fault
from tidecore.place.access import AccessEntry, AccessKind, Leg, closed_by_clock
from tidecore.place.ground import Bed, Exposure, GroundDatum, Peg, ProfilePoint
from tidecore.place.mark import Mark, MarkKind
from tidecore.place.offsets import (
    LEAST_STEP_M,
    LONGEST_DIFFERENCE_MIN,
    LONGEST_LAG_MIN,
    ClockDifference,
    HeightDifference,
    HeightDifferences,
    HeightRatio,
    MarkLags,
    MarkOffsets,
    StreamRates,
    WaterOffsets,
)
from tidecore.place.positions import Position, ZoneName, known_zone
from tidecore.place.species import DeclaredSpecies

__all__ = [
    "LEAST_STEP_M",
    "LONGEST_DIFFERENCE_MIN",
    "LONGEST_LAG_MIN",
    "MOST_FAULTS",
    "AccessEntry",
    "AccessKind",
    "Bed",
    "ClockDifference",
    "DeclaredSpecies",
    "Document",
    "Exposure",
    "GroundDatum",
    "HeightDifference",
    "HeightDifferences",
    "HeightRatio",
    "Leg",
    "Mark",
    "MarkKind",
    "MarkLags",
    "MarkOffsets",
    "Name",
    "Note",
    "Number",
    "Peg",
    "Position",
    "ProfilePoint",
    "StreamRates",
    "WaterOffsets",
    "ZoneName",
    "closed_by_clock",
    "fault",
    "known_zone",
]
