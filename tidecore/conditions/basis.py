"""What a quantity rests on over a span: which issues, how old, with what gaps, and where it ends."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tidecore.conditions.issue import ConditionIssue
from tidecore.conditions.moments import ticks
from tidecore.conditions.pieces import Pieces
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE, TimeSpan

#: A forecast that was issued longer than this before the span begins is named as old [h]; common practice.
OLD_H = 24.0
#: A forecast of a time further ahead than this is to be looked at again [h]; common practice.
FAR_H = 48.0
#: More gaps than this are counted, not said one by one.
_GAPS_SAID = 3

#: What an angler calls a quantity.
CALLED = {
    "wave_height_m": "sea",
    "wave_period_s": "wave period",
    "wave_peak_period_s": "wave period",
    "wave_energy_period_s": "wave period",
    "wave_zero_crossing_period_s": "wave period",
    "wave_period_kind": "wave period",
    "waves_at": "sea",
    "wave_from_degree": "wave direction",
    "wind_speed_m_per_s": "wind",
    "wind_from_degree": "wind direction",
    "wind_gust_m_per_s": "gusts",
    "air_temperature_c": "air temperature",
    "sea_temperature_c": "sea temperature",
    "pressure_hpa": "pressure",
    "cloud_cover_percent": "cloud",
    "rain_mm_per_h": "rain",
    "thunder_probability_percent": "thunder",
    "visibility_m": "visibility",
    "clarity": "clarity as seen",
    "weed": "weed as seen",
}


#: Says an instant [microseconds since 1970, UTC] in words.
Clock = Callable[[int], str]


def said_in_utc(at_us: int) -> str:
    """Return an instant in words, in UTC, to the nearest minute."""
    return f"{np.datetime_as_string(_moment(at_us + US_PER_MINUTE // 2), unit='m')}Z"


@dataclass(frozen=True, slots=True)
class IssueUse:
    """A stretch over which one issue counts, from ``start`` to before ``end`` [UTC].

    ``place`` is that of the issue in `Conditions.issues`. ``age_h`` is how long before ``start`` it was issued, and
    ``lead_h`` how long before ``end`` [h]; negative for what was issued later.
    """

    place: int
    issue: ConditionIssue
    start: np.datetime64
    end: np.datetime64
    age_h: float
    lead_h: float

    @property
    def called(self) -> str:
        """The issue in words, with its time in UTC."""
        return self.called_by(said_in_utc)

    def called_by(self, clock: Clock) -> str:
        """Return the issue in words, with its time by a clock."""
        return f"the {self.issue.kind} of {self.issue.source} issued {clock(ticks(self.issue.issued_at))}"


@dataclass(frozen=True, slots=True)
class Basis:
    """What one quantity rests on over a span.

    Parameters
    ----------
    name : str
        The quantity.
    span : TimeSpan
        The span.
    uses : tuple of IssueUse
        The issues that count, in time order.
    gaps : tuple of (start, end)
        Stretches within the span in which nothing is known, with known ones before and after or issues to come.
    ends_at : datetime64 or None
        Last instant that is known, where that is before the end of the span; None where the quantity is known to the
        end, or in no part of the span.
    known_share : float
        Part of the span in which it is known.
    """

    name: str
    span: TimeSpan
    uses: tuple[IssueUse, ...]
    gaps: tuple[tuple[np.datetime64, np.datetime64], ...]
    ends_at: np.datetime64 | None
    known_share: float

    @property
    def called(self) -> str:
        """The quantity in words."""
        return CALLED[self.name]

    def missing(self, clock: Clock = said_in_utc) -> list[str]:
        """Return in words where the quantity is not known, by a clock."""
        if not self.uses:
            return [f"{self.called} not assessed: no issue says anything of it in this span"]
        said = []
        for start, end in self.gaps[:_GAPS_SAID]:
            first, last = (clock(int(one.astype(np.int64))) for one in (start, end))
            said.append(f"{self.called} not assessed from {first} to {last}: no issue covers it")
        if len(self.gaps) > _GAPS_SAID:
            said.append(f"{self.called} not assessed in {len(self.gaps) - _GAPS_SAID} more gaps")
        if self.ends_at is not None:
            last = clock(int(self.ends_at.astype(np.int64)))
            said.append(f"{self.called} not assessed after {last}: {self.uses[-1].called_by(clock)} ends there")
        return said

    def aged(self, clock: Clock = said_in_utc) -> list[str]:
        """Return in words, by a clock, which forecasts are old, and which reach far ahead."""
        forecasts = [use for use in self.uses if use.issue.kind == "forecast"]
        said = [
            f"{use.called_by(clock)} is {use.age_h:.0f} h old when this span begins"
            for use in forecasts[:1]
            if use.age_h > OLD_H and use.start == self.span.start
        ]
        far = next((use for use in forecasts if use.lead_h > FAR_H), None)
        if far is not None:
            ahead = f"{far.called_by(clock)} reaches further than {FAR_H:.0f} h ahead"
            said.append(f"{ahead}: decide 24 to 48 h before, and again on arrival")
        return said


def basis_of(name: str, pieces: Pieces, issues: Sequence[ConditionIssue], span: TimeSpan) -> Basis:
    """Return what a quantity, given as pieces of ``issues``, rests on over a span."""
    start, end = span.start_us, span.end_us
    inside = pieces.within(start, end)
    uses, gaps = [], []
    if len(inside):
        apart = (inside.start_us[1:] != inside.end_us[:-1]) | (inside.owner[1:] != inside.owner[:-1])
        first, last = np.flatnonzero(np.append(True, apart)), np.flatnonzero(np.append(apart, True))
        for begin, finish in zip(first.tolist(), last.tolist(), strict=True):
            uses.append(_use(inside, begin, finish, issues))
        starts, ends = inside.runs()
        if starts[0] > start:
            gaps.append((start, int(starts[0])))
        gaps += [(int(before) - 1, int(after)) for before, after in zip(ends[:-1], starts[1:], strict=True)]
        later = pieces.start_us[pieces.start_us >= end]
        if ends[-1] < end and later.size:
            gaps.append((int(ends[-1]) - 1, end))
        ends_at = _moment(int(ends[-1]) - 1) if ends[-1] < end and not later.size else None
    else:
        ends_at = None
        if len(pieces) and pieces.start_us[0] >= end:
            gaps.append((start, end))
    known = float(np.sum(inside.end_us - inside.start_us)) / (end - start)
    instants = [(_moment(before), _moment(after)) for before, after in gaps]
    return Basis(name, span, tuple(uses), tuple(instants), ends_at, known)


def _use(inside: Pieces, begin: int, finish: int, issues: Sequence[ConditionIssue]) -> IssueUse:
    """Return the stretch that pieces ``begin`` to ``finish`` make, all of one issue."""
    place = int(inside.owner[begin])
    start, end = int(inside.start_us[begin]), int(inside.end_us[finish])
    issued = ticks(issues[place].issued_at)
    return IssueUse(
        place,
        issues[place],
        _moment(start),
        _moment(end),
        (start - issued) / US_PER_HOUR,
        (end - issued) / US_PER_HOUR,
    )


def _moment(at_us: int) -> np.datetime64:
    """Return an instant as a ``datetime64[us]`` scalar."""
    return np.datetime64(at_us, "us")


def sentences_of(bases: Sequence[Basis], clock: Clock = said_in_utc) -> tuple[str, ...]:
    """Return what is missing from the bases of several quantities, or old, or far ahead, in words, each thing once.

    What is missing of several alike is told of the first, with the others after it.
    """
    alike: dict[str, list[str]] = {}
    for basis in bases:
        for sentence in basis.missing(clock):
            alike.setdefault(sentence.removeprefix(basis.called), []).append(basis.called)
    said = [f"{called[0]}{what}{_the_same_of(called[1:])}" for what, called in alike.items()]
    return tuple(dict.fromkeys([*said, *(sentence for basis in bases for sentence in basis.aged(clock))]))


def _the_same_of(called: Sequence[str]) -> str:
    if not called:
        return ""
    *before, last = called
    return f"; the same of {', '.join(before)} and {last}" if before else f"; the same of {last}"
