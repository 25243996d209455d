"""How a search minds hazards: the thresholds, who goes, and whether what is dangerous is shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.calendars import merged
from tidecore.safety.assessing import NOBODY, assess_all, clear_of, danger_shares, danger_spans, ticks
from tidecore.safety.looking import walk_us
from tidecore.safety.outing import OutingFacts
from tidecore.safety.report import HazardReport
from tidecore.safety.thresholds import DEFAULTS, Thresholds
from tidecore.timebase import US_PER_DAY
from tidecore.timeline import Timeline
from tidecore.units import IntArray

#: Windows reach so far beyond a span at most.
_REACH_US = US_PER_DAY // 2


@dataclass(frozen=True, slots=True)
class Care:
    """How a search minds hazards.

    Parameters
    ----------
    thresholds : Thresholds
        From when on a hazard is one.
    facts : OutingFacts
        Who goes, and what he knows.
    include_dangerous : bool
        Whether time of danger is searched too; it stays marked.
    """

    thresholds: Thresholds = DEFAULTS
    facts: OutingFacts = NOBODY
    include_dangerous: bool = False

    def stay(self, timeline: Timeline, arrive: np.datetime64, leave: np.datetime64) -> HazardReport:
        """Return the hazards of a stay, with the walk in and out."""
        return self.stays(timeline, [(ticks(arrive), ticks(leave))])[0]

    def stays(self, timeline: Timeline, spans: Sequence[tuple[int, int]]) -> list[HazardReport]:
        """Return the hazards of several stays [microseconds since 1970], each as `stay` has them."""
        walk = walk_us(timeline.sources, self.facts.pace)
        outings = [(arrive - walk, leave + walk) for arrive, leave in spans]
        return assess_all(timeline, outings, self.thresholds, self.facts)

    def dangers(self, timeline: Timeline) -> IntArray:
        """Return when nobody should be under way, none where dangers are shown; see `danger_spans`."""
        if self.include_dangerous:
            return np.empty((0, 2), dtype=np.int64)
        return danger_spans(timeline, self.thresholds, self.facts)

    def kept_clear(self, timeline: Timeline) -> list[tuple[int, int]] | None:
        """Return the time that leaves the walk in and out clear of danger; None where all of it does."""
        dangers = self.dangers(timeline)
        if not len(dangers):
            return None
        rows = merged(clear_of(timeline, dangers, self.facts, _REACH_US))
        return [(start, end) for start, end in rows.tolist()]

    def said(self, timeline: Timeline) -> tuple[str, ...]:
        """Return in a sentence what time of the span is left out for danger; none where nothing is."""
        if self.include_dangerous:
            return ()
        shares = danger_shares(timeline, self.thresholds, self.facts)
        if not shares:
            return ()
        named = ", ".join(f"{kind.replace('_', ' ')} {share:.0%}" for kind, share in shares.items())
        return (
            f"{timeline.mark.name}: time of danger is left out ({named} of the span); include_dangerous shows it, "
            "marked.",
        )


#: Hazards by the default thresholds, with nothing said of who goes.
CAREFUL = Care()
