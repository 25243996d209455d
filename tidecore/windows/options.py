"""How an angler goes out: how long a session lasts, what setting up and packing up take, which lulls he sits out."""

from __future__ import annotations

from dataclasses import dataclass, fields

from tidecore.errors import Fault, InvalidInput
from tidecore.timebase import US_PER_MINUTE

#: Longest session that may be asked for [h].
LONGEST_H = 24.0
#: Shortest fishing that any session holds [min].
LEAST_FISHING_MIN = 15.0
#: Longest way to a mark, or lull, that may be asked for [min].
LONGEST_MIN = 720.0


@dataclass(frozen=True, slots=True)
class SessionOptions:
    """What a session is made of; the defaults are common practice.

    Parameters
    ----------
    least_h, most_h : float
        Shortest and longest session from arriving to leaving [h]; with two marks, the outing from the first arrival to
        the last leaving.
    set_up_min, pack_up_min : float
        Between arriving and fishing, and between fishing and leaving [min]; at each of two marks.
    lull_min : float
        Longest time between two windows that is sat out [min]: nobody packs up for slack.
    least_leg_min : float
        Shortest fishing at each of two marks [min].

    Raises
    ------
    InvalidInput
        With a fault for each that is out of range, or where nothing is left of a session to fish in.
    """

    least_h: float = 3.0
    most_h: float = 5.0
    set_up_min: float = 25.0
    pack_up_min: float = 15.0
    lull_min: float = 75.0
    least_leg_min: float = 45.0

    def __post_init__(self) -> None:
        """Refuse what makes no session."""
        faults = []
        for one in fields(self):
            value, limit = getattr(self, one.name), LONGEST_H if one.name.endswith("_h") else LONGEST_MIN
            if not 0.0 <= value <= limit:
                faults.append(Fault(one.name, f"is {value!r}", f"a number from 0 to {limit:g}"))
        if not faults and self.least_h > self.most_h:
            problem = f"is {self.most_h:g}, under the least_h of {self.least_h:g}"
            faults.append(Fault("most_h", problem, f"{self.least_h:g} or more, or a smaller least_h"))
        needed = (self.set_up_min + self.pack_up_min + LEAST_FISHING_MIN) / 60.0
        if not faults and self.most_h < needed:
            problem = (
                f"is {self.most_h:g}, and setting up, packing up and {LEAST_FISHING_MIN:g} min of fishing take more"
            )
            faults.append(Fault("most_h", problem, f"at least {needed:.2f} h"))
        if faults:
            raise InvalidInput(faults)

    @property
    def set_up_us(self) -> int:
        """Setting up [microseconds]."""
        return round(self.set_up_min * US_PER_MINUTE)

    @property
    def pack_up_us(self) -> int:
        """Packing up [microseconds]."""
        return round(self.pack_up_min * US_PER_MINUTE)

    @property
    def lull_us(self) -> int:
        """Longest lull that is sat out [microseconds]."""
        return round(self.lull_min * US_PER_MINUTE)

    @property
    def least_leg_us(self) -> int:
        """Shortest fishing at one of two marks [microseconds]."""
        return max(round(self.least_leg_min * US_PER_MINUTE), round(LEAST_FISHING_MIN * US_PER_MINUTE))

    @property
    def most_fishing_us(self) -> int:
        """Longest fishing of a session at one mark [microseconds]."""
        return round(self.most_h * 60.0 * US_PER_MINUTE) - self.set_up_us - self.pack_up_us

    @property
    def least_fishing_us(self) -> int:
        """Shortest fishing of a session at one mark [microseconds]."""
        least = round(self.least_h * 60.0 * US_PER_MINUTE) - self.set_up_us - self.pack_up_us
        return max(least, round(LEAST_FISHING_MIN * US_PER_MINUTE))
