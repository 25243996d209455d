"""Charts of a mark: a day, a week or a month with its sessions, windows and hazards."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from service.security import Caller
from service.usecases.context import Context
from service.usecases.inputs import Input, mark_input, station_input
from service.usecases.marks import MARKS, MarkView
from service.usecases.sessions import SessionBasis, SessionQuestion, SessionResult, find_session_basis, search_sessions
from tidecore.safety import OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import Session, SessionOptions

ChartKind = Literal["day", "week", "month"]
_NEVER = datetime.datetime(1, 1, 1, tzinfo=datetime.UTC)
#: Most sessions that a chart shows.
MOST_SHOWN: Mapping[ChartKind, int] = {"day": 4, "week": 14, "month": 31}
#: How often the curves are looked at; one step beyond the end, so that they reach it.
STEP = np.timedelta64(10, "m")
#: The factors that a chart draws.
DRAWN = ("height", "flow_index", "light", "range", "making")


@dataclass(frozen=True, slots=True)
class ChartBasis:
    """What a chart rests on, found before anything is computed."""

    kind: ChartKind
    date: datetime.date
    mark: MarkView
    sessions: SessionBasis
    theme: str = ""

    def of_theme(self, theme: str) -> ChartBasis:
        """Return the same in one of the looks there are."""
        return replace(self, theme=theme)

    @property
    def span(self) -> TimeSpan:
        """The local days that are shown."""
        return self.sessions.question.span

    @property
    def inputs(self) -> Sequence[Input]:
        """The mark, its station, what is told of it, the rules, and the thresholds."""
        ((view, served),), rules, conditions = self.sessions.wanted
        thresholds = self.sessions.thresholds
        return [
            mark_input(view),
            station_input(served),
            *conditions[view.record.id].inputs,
            *(Input("rule", one.record.id, one.record.version, one.record.updated_at) for one in rules),
            Input("safety", thresholds.account_id, thresholds.version, thresholds.updated_at or _NEVER),
        ]

    @property
    def query(self) -> Mapping[str, Any]:
        """Which days."""
        return {"series": "chart", "kind": self.kind, "date": self.date.isoformat(), "theme": self.theme}


@dataclass(frozen=True, slots=True)
class ChartView:
    """What a chart shows: the timeline, and the best sessions, the best first."""

    basis: ChartBasis
    timeline: Timeline
    result: SessionResult
    sessions: Sequence[Session]


def local_days(view: MarkView, kind: ChartKind, date: datetime.date) -> TimeSpan:
    """Return the span of the days a chart shows, by the clocks of the mark: one, seven, or those of the month."""
    first = date.replace(day=1) if kind == "month" else date
    days = {"day": 1, "week": 7}.get(kind, 0)
    after = first + datetime.timedelta(days=days) if days else (first + datetime.timedelta(days=31)).replace(day=1)
    return TimeSpan(_midnight(view, first), _midnight(view, after))


def find_chart_basis(
    context: Context,
    caller: Caller,
    mark_id: str,
    kind: ChartKind,
    date: datetime.date,
    rule_ids: Sequence[str] | None,
) -> ChartBasis:
    """Return what a chart rests on; of all rules where none are named.

    Raises
    ------
    NotFound, NoModel
        If the mark or a rule is not there, or the station of the mark has no model yet.
    SpanTooLong, SearchTooLarge
        If the search for sessions exceeds the limits.
    """
    view = MARKS.get(context, caller, mark_id)
    question = SessionQuestion(
        span=local_days(view, kind, date),
        mark_ids=[mark_id],
        rule_ids=rule_ids,
        options=SessionOptions(),
        free_time=None,
        travel={},
        travel_min=0.0,
        drives=(),
        by="overall",
        each=MOST_SHOWN[kind],
        diverse=False,
        overlapping=False,
        facts=OutingFacts(),
        include_dangerous=False,
    )
    basis = find_session_basis(context, caller, question)
    ((found, _),), _, _ = basis.wanted
    # The mark may have moved to another zone in between; the days are then those of the one that is searched.
    span = local_days(found, kind, date)
    return ChartBasis(kind, date, found, replace(basis, question=replace(question, span=span)))


def build_chart(basis: ChartBasis) -> ChartView:
    """Return what a chart shows."""
    result = search_sessions(basis.sessions)
    ((view, served),) = result.marks
    timeline = build_timeline(
        view.document,
        served.model,
        basis.span.start,
        basis.span.end + STEP,
        step=STEP,
        names=DRAWN,
        conditions=result.conditions[view.record.id].conditions,
    )
    sessions = [session for _, session in result.page(0, MOST_SHOWN[basis.kind])]
    return ChartView(basis, timeline, result, sessions)


def _midnight(view: MarkView, date: datetime.date) -> np.datetime64:
    local = datetime.datetime(date.year, date.month, date.day, tzinfo=view.document.zone)
    return np.datetime64(local.astimezone(datetime.UTC).replace(tzinfo=None), "us")
