"""What whoever asks says of an outing himself; what he leaves out is not known, and never taken for the better."""

from __future__ import annotations

from dataclasses import dataclass, fields

from tidecore.errors import Fault, InvalidInput
from tidecore.shore.turning_back import PACK_UP_MIN

#: Surges [m] and paces that are taken.
_MOST_SURGE_M, _PACES = 15.0, (0.2, 10.0)
_MOST_PARTY, _MOST_PACK_UP_MIN = 1000, 720.0


@dataclass(frozen=True, slots=True)
class OutingFacts:
    """Who goes, and what he knows.

    Parameters
    ----------
    alone : bool or None
        Whether nobody else is there; follows from ``party`` where that is given.
    first_visit : bool or None
        Whether the mark is new to him.
    party : int or None
        How many go.
    wading : bool or None
        Whether somebody wades.
    bathers : bool or None
        Whether people bathe within the casting arc.
    surge_m : float or None
        What weather adds to the tide [m], on top of what the interval of the tide allows for. Where he says nothing it
        is what the pressure of the air lifts the sea, if the conditions tell that.
    gathering : bool
        Whether he gathers bait: out over the ground that low water bares, down to its edge, and not at the peg alone.
    pace : float
        How many times as long as stated the way back takes.
    pack_up_min : float
        How long packing up takes [min].

    Raises
    ------
    InvalidInput
        With a fault for each that is out of range or contradicts another.
    """

    alone: bool | None = None
    first_visit: bool | None = None
    party: int | None = None
    wading: bool | None = None
    bathers: bool | None = None
    surge_m: float | None = None
    pace: float = 1.0
    gathering: bool = False
    pack_up_min: float = PACK_UP_MIN

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        faults = []
        if self.surge_m is not None and not -_MOST_SURGE_M <= self.surge_m <= _MOST_SURGE_M:
            faults.append(Fault("surge_m", f"is {self.surge_m!r}", f"-{_MOST_SURGE_M:g} to {_MOST_SURGE_M:g} m"))
        if not _PACES[0] <= self.pace <= _PACES[1]:
            faults.append(Fault("pace", f"is {self.pace!r}", f"{_PACES[0]:g} to {_PACES[1]:g}"))
        if not 0.0 <= self.pack_up_min <= _MOST_PACK_UP_MIN:
            faults.append(Fault("pack_up_min", f"is {self.pack_up_min!r}", f"0 to {_MOST_PACK_UP_MIN:g} min"))
        if self.party is not None and not 1 <= self.party <= _MOST_PARTY:
            faults.append(Fault("party", f"is {self.party!r}", f"1 to {_MOST_PARTY}"))
        elif self.party is not None and self.alone is not None and self.alone != (self.party == 1):
            faults.append(Fault("alone", f"is {self.alone!r} with a party of {self.party}", "one of the two"))
        if faults:
            raise InvalidInput(faults)

    @property
    def is_alone(self) -> bool | None:
        """Whether he is alone; None where nobody said."""
        return self.alone if self.party is None else self.party == 1

    @property
    def given(self) -> tuple[str, ...]:
        """The facts that somebody stated."""
        return tuple(one.name for one in fields(self) if getattr(self, one.name) != one.default)
