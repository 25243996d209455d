"""What a month sheet shows: the tide of a chart, springs and neaps, sessions with their verdicts, hazards, notes."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.exports.mark_chart import ChartHazard, ChartSession, MarkChart
from tidecore.timeline import KeyTime

#: Sessions that are told in full, and hazards that are: as many as one page of A4 holds.
MOST_TOLD, MOST_HAZARDS = 6, 6
#: Sessions of a day that are told beside its tide.
MOST_OF_A_DAY = 2


@dataclass(frozen=True, slots=True)
class SheetSession:
    """A session with what a chart does not tell of it; instants are microseconds since 1970.

    ``fishable`` and ``feeding`` are verdicts in words, ``turn_back_us`` is None where no hazard says.
    """

    drawn: ChartSession
    leave_home_us: int
    back_home_us: int
    turn_back_us: int | None
    fishable: str
    feeding: str


@dataclass(frozen=True, slots=True)
class MonthSheet:
    """A month: its ``chart`` has tide, light, key times and notes; ``sessions`` are the best first.

    ``cycle`` says "springs" or "neaps" of the days that are; ``hazards`` are those of the sessions told in full.
    """

    chart: MarkChart
    sessions: Sequence[SheetSession]
    cycle: Mapping[datetime.date, str]
    hazards: Sequence[ChartHazard]

    @property
    def told(self) -> Sequence[SheetSession]:
        """The sessions that are told in full."""
        return self.sessions[:MOST_TOLD]

    def events(self, start_us: int, end_us: int, *kinds: str) -> list[KeyTime]:
        """Return the key times of some kinds between two instants."""
        return [one for one in self.chart.events if one.kind in kinds and start_us <= one.time.astype(int) < end_us]

    def of_day(self, start_us: int, end_us: int) -> list[SheetSession]:
        """Return the sessions whose fishing begins between two instants, in time order."""
        mine = [one for one in self.sessions if start_us <= one.drawn.start_us < end_us]
        return sorted(mine, key=lambda one: one.drawn.start_us)
