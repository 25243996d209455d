"""What a session is: the stays, the windows and lulls in them, what each rule finds, and the verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tidecore.place import Mark
from tidecore.safety import HazardReport
from tidecore.timeline import KeyTime
from tidecore.windows.outings import Outing
from tidecore.windows.verdicts import Verdicts
from tidecore.windows.window import BestHour, UnknownTerm, Window

_HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True, slots=True)
class SessionWindow:
    """A part of a window that a session fishes: of which rule, from when to before when [UTC], and the whole window.

    ``peak_score`` and ``peak_time`` are of the part: the highest score in it, its end included, and when first.
    """

    rule: str
    start: np.datetime64
    end: np.datetime64
    peak_score: float
    peak_time: np.datetime64
    window: Window


@dataclass(frozen=True, slots=True)
class Lull:
    """A time between two windows that is sat out [UTC], and the factor that takes most from the rules meanwhile."""

    start: np.datetime64
    end: np.datetime64
    factor: str | None


@dataclass(frozen=True, slots=True)
class FactorAccount:
    """What one factor gave a rule: its mean membership while known, and the mean fall of ln score due to it.

    The mean loss is over the fishing; what is 0 or nearly counts as 0.001.
    """

    factor: str
    mean_membership: float | None
    mean_loss: float


@dataclass(frozen=True, slots=True)
class RuleAccount:
    """One rule over the fishing of a leg: integral and mean of its score, what limits it, what is unknown."""

    rule: str
    name: str
    species: str
    score_hours: float
    mean_score: float
    limiting_factor: str | None
    factors: tuple[FactorAccount, ...]
    unknowns: tuple[UnknownTerm, ...]


@dataclass(frozen=True, slots=True)
class FactorSummary:
    """A factor over the fishing of a leg, every five minutes.

    A number: its mean, least and greatest known value. The other kinds: the commonest known value. ``known_share`` of
    the time it is known.
    """

    factor: str
    unit: str
    known_share: float
    mean: float | None
    least: float | None
    greatest: float | None
    commonest: str | None


@dataclass(frozen=True, slots=True)
class SessionLeg:
    """A stay at one mark, half-open spans [UTC]: ``arrive``, fishing from ``start`` to ``end``, ``leave``."""

    key: str
    mark: Mark
    arrive: np.datetime64
    start: np.datetime64
    end: np.datetime64
    leave: np.datetime64
    score_hours: float
    windows: tuple[SessionWindow, ...]
    lulls: tuple[Lull, ...]
    rules: tuple[RuleAccount, ...]
    factors: tuple[FactorSummary, ...]
    key_times: tuple[KeyTime, ...]


@dataclass(frozen=True, slots=True)
class Session:
    """One outing in full: arrive to leave at a mark, or at two, with all it rests on.

    Parameters
    ----------
    outing : Outing
        When to be where, and the way there and back.
    legs : tuple of SessionLeg
        The stays, in time order.
    best_hour : BestHour
        The hour of the best score, by whatever rule; the whole where it is shorter.
    hazards : HazardReport
        What is known against it, from walking in to walking out.
    verdicts : Verdicts
        Safe, fishable and feeding, apart.
    clock_changes : tuple of str
        Changes of the clocks between leaving home and coming back, each in a sentence.
    reasons : tuple of str
        Why, in sentences; times by the clocks of the mark.
    """

    outing: Outing
    legs: tuple[SessionLeg, ...]
    best_hour: BestHour
    hazards: HazardReport
    verdicts: Verdicts
    clock_changes: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def arrive(self) -> np.datetime64:
        """When the first mark is reached [UTC]."""
        return self.legs[0].arrive

    @property
    def leave(self) -> np.datetime64:
        """When the last mark is left [UTC]."""
        return self.legs[-1].leave

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks, in the order in which they are fished."""
        return tuple(leg.mark for leg in self.legs)

    @property
    def fishing_h(self) -> float:
        """Time fished [h]."""
        return sum(float((leg.end - leg.start) / _HOUR) for leg in self.legs)

    @property
    def score_hours(self) -> float:
        """Integral of the best score over the fishing [h]; time in which a mark does not fish counts nothing."""
        return sum(leg.score_hours for leg in self.legs)

    @property
    def lulls(self) -> tuple[Lull, ...]:
        """The lulls of all legs."""
        return tuple(lull for leg in self.legs for lull in leg.lulls)

    @property
    def rules(self) -> tuple[RuleAccount, ...]:
        """What the rules found at all legs, most first."""
        found = [account for leg in self.legs for account in leg.rules]
        return tuple(sorted(found, key=lambda one: (-round(one.score_hours, 9), one.rule)))

    @property
    def unknowns(self) -> tuple[UnknownTerm, ...]:
        """What is unknown for a part of the fishing, each factor once, with the largest share."""
        most: dict[str, UnknownTerm] = {}
        for account in self.rules:
            for one in account.unknowns:
                if one.factor not in most or one.share > most[one.factor].share:
                    most[one.factor] = one
        return tuple(most[name] for name in sorted(most))

    @property
    def hours_of_rules(self) -> Mapping[str, float]:
        """Integrals of the rules' scores over the fishing [h], by their keys."""
        return self.outing.rule_hours
