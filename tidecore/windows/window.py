"""What a search answers: windows, what each factor gave, what was unknown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from tidecore.rules import Season, Suitability
from tidecore.rules.tree import Mode, Role
from tidecore.timeline import KeyTime

#: What was done where a factor was unknown; ``"decided"``: other members of its group decided all the same.
Done = Literal["exclude", "ignore", "penalise", "decided"]

_HOUR = np.timedelta64(1, "h")


# These are tuples: of all that is told they are the most, and a tuple is made in a fifth of the time.
class Contribution(NamedTuple):
    """What one term of a rule gave over a window.

    ``mean_membership`` is over the time in which the factor is known, None if it never is. ``mean_loss`` is the mean
    fall of the logarithm of the score that is due to the term, 0 if it cost nothing. ``path`` is where it stands in the
    rule, as ``"require.0.any.1"``.
    """

    factor: str
    role: Role
    mean_membership: float | None
    mean_loss: float
    path: str


class GroupContribution(NamedTuple):
    """What one group of a rule gave over a window: as `Contribution`; its loss is that of its members together."""

    path: str
    mode: Mode
    role: Role
    mean_membership: float | None
    mean_loss: float


class BriefWindow(NamedTuple):
    """What a window is worth, in brief: as `Window` has it, with the factors alone that were unknown."""

    mean_score: float
    peak_score: float
    peak_us: int
    limiting_factor: str | None
    unknowns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class UnknownTerm:
    """A term whose factor was unknown: for which ``share`` of the time, what was done about it, and why it was."""

    factor: str
    role: Role
    policy: Done
    share: float
    reason: str
    path: str


@dataclass(frozen=True, slots=True)
class BestHour:
    """The 60 minutes of highest mean score, starting on a whole minute; the first of equals.

    ``whole_window`` is true where no such hour fits: the window itself then stands for it.
    """

    start: np.datetime64
    end: np.datetime64
    mean_score: float
    whole_window: bool


@dataclass(frozen=True, slots=True)
class Window:
    """A longest span in which one rule holds at one mark, half-open: ``start`` is in it, ``end`` is not.

    Parameters
    ----------
    start, end : datetime64[us]
        Ends [UTC], within 0.1 s.
    starts_before, ends_after : bool
        Whether the window was cut at that end by the span searched, and goes on beyond it.
    peak_score, peak_time
        Highest score, and the first instant that has it.
    mean_score : float
        Mean over the window.
    limiting_factor : str or None
        The factor with the largest mean loss; None if nothing was lost.
    contributions : tuple of Contribution
        Term by term, requirements first.
    groups : tuple of GroupContribution
        Group by group, outer ones first.
    best_hour : BestHour
        When to be there if only for an hour.
    key_times : tuple of KeyTime
        What happens inside.
    unknowns : tuple of UnknownTerm
        Terms whose factor was unknown for a part of the window or all of it.
    flow_reliable : bool or None
        Whether the stream at the mark is known; False is a caveat: the rule weighs a proxy. None where the rule does
        not look at the stream.
    suitability : str
        What is known of the ground for the rule, see `tidecore.rules.suitability`.
    release_only : tuple of Season
        The release-only seasons of the rule that the window touches.
    """

    start: np.datetime64
    end: np.datetime64
    starts_before: bool
    ends_after: bool
    peak_score: float
    peak_time: np.datetime64
    mean_score: float
    limiting_factor: str | None
    contributions: tuple[Contribution, ...]
    groups: tuple[GroupContribution, ...]
    best_hour: BestHour
    key_times: tuple[KeyTime, ...]
    unknowns: tuple[UnknownTerm, ...]
    flow_reliable: bool | None
    suitability: Suitability
    release_only: tuple[Season, ...]

    @property
    def peak_us(self) -> int:
        """When the score is highest first [microseconds since 1970]."""
        return int(self.peak_time.astype("datetime64[us]").astype(np.int64))

    @property
    def duration_h(self) -> float:
        """Length [h]."""
        return float((self.end - self.start) / _HOUR)

    @property
    def score_hours(self) -> float:
        """Integral of the score over the window [h]."""
        return self.mean_score * self.duration_h
