"""What is drawn of a mark of a plan: from what is stored to a picture."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np

from service.api.v1.schemas.mark_charts import Danger, gather_hazards, how_to_read, loosened_note, rests_on, tide_facts
from service.api.v1.schemas.sessions import CAUTION
from service.exports.mark_chart import THEMES, ChartSession, ChartWindow, MarkChart, draw_day, draw_strips
from service.exports.mark_chart.look import ThemeName
from service.exports.series import Export
from service.usecases.plan_charts import Drawing
from service.usecases.records import PlanRecord


def draw_plan_chart(found: Drawing, theme: ThemeName) -> Export:
    """Return the picture of a mark of a plan."""
    chart = plan_chart(found)
    return (draw_day if chart.kind == "day" else draw_strips)(chart, THEMES[theme])


def plan_chart(found: Drawing) -> MarkChart:
    """Return what a picture or a sheet shows of planned sessions."""
    line, mark = found.timeline, found.mark.document
    of = found.mark.record.id if found.made is None else f"{found.made[0].plan_id}_{found.mark.record.id}"
    sessions = [_session(one, found.fish) for one in found.sessions]
    return MarkChart(
        file_name=f"{of}_{found.kind}_{found.date.isoformat()}",
        mark=mark.name,
        kind=found.kind,
        zone=mark.zone,
        datum=line.datum,
        span=found.span,
        times_us=line.times.astype(np.int64),
        heights=line.columns["height"],
        flow=line.columns["flow_index"],
        light=line.columns["light"],
        events=line.events(found.span.start, found.span.end),
        windows=[_window(one, found.fish) for session in found.sessions for one in session["windows"]],
        sessions=sessions,
        hazards=gather_hazards(found.kind, [(one["rank"], dangers(one)) for one in found.sessions]),
        facts=tide_facts(line, found.kind, _counted(found)),
        notes=_notes(found),
    )


def dangers(session: Mapping[str, Any]) -> list[Danger]:
    """Return the hazards of a session that a plan keeps."""
    return [
        Danger(one["grade"], one["kind"], micros(one["start"]), micros(one["end"]), one["text"])
        for one in session["hazards"]
    ]


def micros(text: str) -> int:
    """Return an instant as the plan keeps it in microseconds since 1970."""
    return round(datetime.fromisoformat(text).timestamp() * 1e6)


def species_of(session: Mapping[str, Any], fish: Mapping[str, str]) -> tuple[str, ...]:
    """Return the fish of a session, that of which it gives most first."""
    ordered = sorted(session["rules"], key=lambda one: (-one["score_hours"], one["rule_id"]))
    return tuple(dict.fromkeys(fish[one["rule_id"]] for one in ordered))


def _counted(found: Drawing) -> str:
    count = len(found.sessions)
    named = f"{count} session{'' if count == 1 else 's'}"
    if not count:
        return "no session"
    return f"{named}, numbered by rank" if found.made is None else f"{named} of the plan, numbered by rank in it"


def _session(one: Mapping[str, Any], fish: Mapping[str, str]) -> ChartSession:
    arrive, start, end, leave = (micros(one[name]) for name in ("arrive", "start", "end", "leave"))
    return ChartSession(
        rank=one["rank"],
        arrive_us=arrive,
        start_us=start,
        end_us=end,
        leave_us=leave,
        worth_h=one["worth_h"],
        species=species_of(one, fish),
        grade=one["verdicts"]["safe"],
        best_us=(micros(one["best_hour"]["start"]), micros(one["best_hour"]["end"])),
    )


def _window(one: Mapping[str, Any], fish: Mapping[str, str]) -> ChartWindow:
    # A plan keeps the best moment of a window, and not its best hour.
    peak = micros(one["peak_time"])
    return ChartWindow(fish[one["rule_id"]], micros(one["start"]), micros(one["end"]), (peak, peak), one["mean_score"])


def _notes(found: Drawing) -> list[str]:
    nothing = [] if found.sessions else [f"No session: {reason}" for reason in found.nothing]
    made = f" {_made(found, *found.made)}" if found.made is not None else ""
    return [
        *loosened_note(found.loosened),
        *nothing,
        f"{how_to_read(found.kind)}{made} {rests_on(found.mark, found.served)}",
        CAUTION,
    ]


def _made(found: Drawing, plan: PlanRecord, computed: datetime) -> str:
    """Return which days a plan is of, and when it was computed, by the clocks of the mark."""
    first, end, made = (
        f"{one.astimezone(found.mark.document.zone):%-d %B %Y %H:%M}"
        for one in (plan.starts_at, plan.ends_at, computed)
    )
    return f"Of the plan from {first} to {end}, computed {made}."
