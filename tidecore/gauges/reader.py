"""What a reader of gauge records is: a name, its hints, how it knows its files and how it reads them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

from tidecore.gauges.hints import Hint, Hints
from tidecore.gauges.record import RawRecord
from tidecore.gauges.source import Source


class Recognition(IntEnum):
    """How sure a reader is that a file is in its format."""

    NO = 0
    #: The file fits the format, and may fit another.
    POSSIBLE = 1
    #: The file bears a mark that only this format has.
    CERTAIN = 2


@dataclass(frozen=True, slots=True)
class GaugeReader:
    """One format of gauge records.

    Attributes
    ----------
    name : str
        What ``format=`` says.
    title : str
        The format in a few words.
    hints : tuple of Hint
        Everything a caller may say about a file of this format.
    recognise : callable
        Tells from the content how sure it is that a `Source` is in this format; never raises.
    read : callable
        Turns a `Source` and its `Hints` into a `RawRecord`.
    """

    name: str
    title: str
    hints: tuple[Hint, ...]
    recognise: Callable[[Source], Recognition]
    read: Callable[[Source, Hints], RawRecord]

    def takes(self, names: set[str]) -> bool:
        """Tell whether every hint in ``names`` is one of this reader's."""
        return names <= {hint.name for hint in self.hints}
