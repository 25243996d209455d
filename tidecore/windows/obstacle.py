"""What stands in the way of a rule: one term of it, and all of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.rules import Suitability
from tidecore.rules.tree import Role
from tidecore.windows.window import Window


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One term of a rule that stands in the way at an instant.

    Parameters
    ----------
    factor, role
        The factor of the term, and whether it gates or weighs.
    value : float, str, bool or None
        What the factor is then, None where it is not known.
    needed : float, str, bool or None
        The nearest value with which the term suits by at least the rule's threshold; None where no value is.
    off_by : float or None
        How far the value is from that, in the unit of the factor; None unless both are numbers.
    unit : str
        Unit of a number.
    membership : float or None
        How well it suits, 0 to 1, None where it is not known.
    loss : float
        Fall of ln score that is due to it; infinite where it lets nothing through.
    score_without : float
        Score if this factor alone were at its best.
    enough_alone : bool
        Whether changing this factor alone would do.
    before, after : datetime64[us] or None
        The nearest instants of the timeline's axis before and after at which this factor suits.
    unknown_because : str or None
        Why it is not known.
    """

    factor: str
    role: Role
    value: float | str | bool | None
    needed: float | str | bool | None
    off_by: float | None
    unit: str
    membership: float | None
    loss: float
    score_without: float
    enough_alone: bool
    before: np.datetime64 | None
    after: np.datetime64 | None
    unknown_because: str | None


@dataclass(frozen=True, slots=True)
class WhyNot:
    """Why a rule does not hold at a mark at an instant, or over a span.

    Parameters
    ----------
    time : datetime64[us]
        The instant looked at: the one asked about, or that of a span at which the rule holds best.
    holds : bool
        Whether the rule holds there after all.
    score, threshold : float
        The score at that instant, and what it needs.
    suitability : str
        What is known of the ground at the mark for the rule, see `tidecore.rules.suitability`.
    obstacles : tuple of Obstacle
        What stands in the way, what takes most first.
    before, after : Window or None
        The last window of the timeline that ends by the start of what was asked, and the first that begins after it.
    inside : tuple of Window
        Windows that hold a part of what was asked.
    sentences : tuple of str
        The same for a reader, by the clocks of the mark.
    """

    time: np.datetime64
    holds: bool
    score: float
    threshold: float
    suitability: Suitability
    obstacles: tuple[Obstacle, ...]
    before: Window | None
    after: Window | None
    inside: tuple[Window, ...]
    sentences: tuple[str, ...]
