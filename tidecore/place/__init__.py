"""Where a mark lies and what is known of it: position, tide, stream, ground, ways in and out."""

from tidecore.documents import MOST_FAULTS, Document, Name, Note, Number, fault
from tidecore.place.ground import Bed
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

__all__ = [
    "LEAST_STEP_M",
    "LONGEST_DIFFERENCE_MIN",
    "LONGEST_LAG_MIN",
    "MOST_FAULTS",
    "Bed",
    "ClockDifference",
    "Document",
    "HeightDifference",
    "HeightDifferences",
    "HeightRatio",
    "Mark",
    "MarkKind",
    "MarkLags",
    "MarkOffsets",
    "Name",
    "Note",
    "Number",
    "Position",
    "StreamRates",
    "WaterOffsets",
    "ZoneName",
    "fault",
    "known_zone",
]
