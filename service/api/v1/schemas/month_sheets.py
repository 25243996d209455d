"""What a month sheet shows: from planned sessions to a page of HTML."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from service.api.v1.schemas.mark_charts import gather_hazards
from service.api.v1.schemas.plan_charts import dangers, micros, plan_chart
from service.exports.mark_chart import ChartSession, MarkChart
from service.exports.month_sheet import MonthSheet, SheetSession, write_sheet
from service.exports.month_sheet.sheet import MOST_TOLD
from service.exports.series import Export
from service.usecases.plan_charts import Drawing
from tidecore.timeline import Timeline, factor_words

_FISHABLE = {
    "yes": "fishable",
    "hard": "hard to fish",
    "no": "not fishable",
    "unknown": "not known if fishable",
}


def write_month_sheet(found: Drawing) -> Export:
    """Return the sheet of a month."""
    chart = plan_chart(found)
    chart = replace(chart, notes=[*chart.notes[:-1], *_said(found.said), chart.notes[-1]])
    sessions = [_session(one, drawn) for one, drawn in zip(found.sessions, chart.sessions, strict=True)]
    told = [(one["rank"], dangers(one)) for one in found.sessions[:MOST_TOLD]]
    return write_sheet(MonthSheet(chart, sessions, _cycle(chart, found.timeline), gather_hazards(chart.kind, told)))


def _session(one: Mapping[str, Any], drawn: ChartSession) -> SheetSession:
    feeding = one["verdicts"]["feeding"]
    limit = feeding["limiting_factor"]
    held = "" if limit is None else f", held down most by the {factor_words(limit)}"
    return SheetSession(
        drawn=drawn,
        leave_home_us=micros(one["leave_home"]),
        back_home_us=micros(one["back_home"]),
        turn_back_us=None if one["turn_back"] is None else micros(one["turn_back"]),
        fishable=_FISHABLE[one["verdicts"]["fishable"]],
        feeding=f"feeding {feeding['mean_score']:.2f}{held}",
    )


def _cycle(chart: MarkChart, line: Timeline) -> dict[datetime.date, str]:
    """Return the days on which the daily range is greatest and least: where tides begin to take off, and to make."""
    making = line.columns["making"]
    at = np.flatnonzero(making[1:] != making[:-1]) + 1
    times = line.times.astype(np.int64)
    return {chart.local(int(times[k])).date(): "springs" if making[k] == "taking_off" else "neaps" for k in at}


def _said(said: Sequence[str]) -> list[str]:
    """Return what is not assessed or old, as one note."""
    return [f"Rests on: {'. '.join(said)}."] if said else []
