"""Sessions of a plan as a table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from service.exports.series import Column, Table
from service.usecases.plan_calendars import PlanCalendar
from tidecore.safety import loosened_words

SESSION_SHEET = (
    "mark_id,mark,key,changed,rank,date_local,leave_home,arrive,start,end,leave,back_home,turn_back,fishing_h,worth_h,"
    "best_from,best_to,rule_id,fish,mean_score,limiting_factor,safe,fishable,hazards\r\n"
    "mrk_01,Long Beach,20260601T0615,0,1,2026-06-01,2026-06-01T05:55:00Z,2026-06-01T06:15:00Z,2026-06-01T06:30:00Z,"
    "2026-06-01T09:00:00Z,2026-06-01T09:15:00Z,2026-06-01T09:35:00Z,,2.500,1.900,2026-06-01T07:00:00Z,"
    "2026-06-01T08:00:00Z,rul_01,bass,0.760,flow_index,info,good,\r\n"
)
Session = Mapping[str, Any]


def _hazards(one: Session) -> str:
    told = (*(hazard["text"] for hazard in one["hazards"]), loosened_words(one["loosened"]))
    return " ".join(filter(None, told))


def session_table(found: PlanCalendar) -> Table:
    """Return the sessions, a row each in time order; those that are gone are not among them."""
    rows = [one for one, _ in found.sessions]

    def text(name: str, meaning: str, of: Callable[[Session], str | None]) -> Column:
        return Column(name, "text", np.array([of(one) or "" for one in rows], dtype=object), meaning)

    def whole(name: str, meaning: str) -> Column:
        return Column(name, "integer", np.array([one[name] for one in rows], dtype=np.int64), meaning)

    def number(name: str, meaning: str, unit: str, of: Callable[[Session], float | None]) -> Column:
        return Column(name, "number", np.array([of(one) for one in rows], dtype=np.float64), meaning, unit)

    def time(name: str, meaning: str, of: Callable[[Session], str | None]) -> Column:
        plain = [(of(one) or "NaT").removesuffix("Z") for one in rows]
        return Column(name, "time", np.array(plain, dtype="datetime64[us]"), meaning)

    def plain_time(name: str, meaning: str) -> Column:
        return time(name, meaning, lambda one: one[name])

    return Table(
        f"{found.plan.plan_id}_sessions",
        (
            text("mark_id", "Id of the mark.", lambda one: one["mark_id"]),
            text("mark", "Name of the mark.", lambda one: found.marks[one["mark_id"]].document.name),
            text("key", "What the session is called at its mark.", lambda one: one["key"]),
            whole("changed", "How often it changed from plan to plan."),
            whole("rank", "Place among those of the mark."),
            text("date_local", "Date of the arrival by the clocks of the mark.", lambda one: one["date_local"]),
            plain_time("leave_home", "Leaving home."),
            plain_time("arrive", "Arriving."),
            plain_time("start", "Start of the fishing."),
            plain_time("end", "End of the fishing."),
            plain_time("leave", "Leaving."),
            plain_time("back_home", "Home again."),
            plain_time("turn_back", "When turning back is due, where a hazard says."),
            number("fishing", "Length of the fishing.", "h", lambda one: one["fishing_h"]),
            number("worth", "Integral of the best score over the fishing.", "h", lambda one: one["worth_h"]),
            time("best_from", "Start of the best hour.", lambda one: one["best_hour"]["start"]),
            time("best_to", "End of the best hour.", lambda one: one["best_hour"]["end"]),
            text("rule_id", "The rule that gets most.", lambda one: one["verdicts"]["feeding"]["rule_id"]),
            text("fish", "Its fish.", lambda one: found.fish(one["verdicts"]["feeding"]["rule_id"])),
            number("mean_score", "Its mean score.", "1", lambda one: one["verdicts"]["feeding"]["mean_score"]),
            text("limiting_factor", "What limits it.", lambda one: one["verdicts"]["feeding"]["limiting_factor"]),
            text("safe", "The worst that is known against it.", lambda one: one["verdicts"]["safe"]),
            text("fishable", "Whether it can be fished.", lambda one: one["verdicts"]["fishable"]),
            text("hazards", "Every hazard in a sentence, and what is loosened.", _hazards),
        ),
    )
