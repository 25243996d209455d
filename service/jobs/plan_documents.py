"""A planned mark as the plain document that the store keeps of it; instants in UTC, values rounded as published."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from service.exports.instants import write_instant
from tidecore.safety import Hazard
from tidecore.timeline import find_factor
from tidecore.windows import BriefWindow, FishedPart, PlannedMark, PlannedSession

#: Units of factors as the ends of names of fields.
_ENDS: Mapping[str, str] = {"1": "", "": "", "m": "_m", "s": "_s", "m/s": "_m_per_s", "degree": "_degree"}


def planned_document(planned: PlannedMark) -> dict[str, Any]:
    """Return what a plan tells of a mark: how many sessions there are, the best of them in time order."""
    return {
        "found": planned.found,
        "nothing": list(planned.nothing),
        "clock_changes": [str(change) for change in planned.clock_changes],
        "sessions": [_session(one) for one in planned.sessions],
    }


def _session(one: PlannedSession) -> dict[str, Any]:
    outing, leg = one.outing, one.outing.legs[0]
    hours = dict(leg.rule_hours)
    fishing_h = (leg.end_us - leg.start_us) / 3.6e9
    due = [hazard.turn_back for hazard in one.hazards.hazards if hazard.turn_back is not None]
    return {
        "rank": one.rank,
        "date_local": one.date_local,
        "leave_home": write_instant(outing.arrive_us - outing.there_us),
        "arrive": write_instant(leg.arrive_us),
        "start": write_instant(leg.start_us),
        "end": write_instant(leg.end_us),
        "leave": write_instant(leg.leave_us),
        "back_home": write_instant(outing.leave_us + outing.back_us),
        "turn_back": write_instant(min(due)) if due else None,
        "fishing_h": _number(fishing_h),
        "worth_h": _number(one.worth_h),
        "best_hour": {
            "start": write_instant(one.best_hour.start),
            "end": write_instant(one.best_hour.end),
            "mean_score": _number(one.best_hour.mean_score),
            "whole_window": one.best_hour.whole_window,
        },
        "verdicts": {
            "safe": one.hazards.grade,
            "fishable": one.fishable,
            "feeding": {
                "rule_id": one.rule,
                "mean_score": 0.0 if one.rule is None else _number(hours[one.rule] / fishing_h),
                "limiting_factor": one.limiting_factor,
            },
        },
        "rules": [{"rule_id": key, "score_hours": _number(value)} for key, value in leg.rule_hours],
        "windows": [_window(window) for window in one.windows],
        "hazards": [_hazard(hazard) for hazard in one.hazards.hazards],
        "not_assessed": list(one.hazards.not_assessed),
        "loosened": list(one.hazards.loosened),
        "key_times": [
            {
                "time": write_instant(event.time),
                "kind": event.kind,
                "height_m": _number(event.height),
                "grazing": event.grazing,
                "height_held": event.held,
            }
            for event in one.key_times
        ],
        "at_best": {_field(name): _plain(value) for name, value in one.at_best.items()},
        "unknowns": list(one.unknowns),
    }


def _window(one: FishedPart[BriefWindow]) -> dict[str, Any]:
    start_us, end_us = one.span_us
    return {
        "rule_id": one.rule,
        "start": write_instant(start_us),
        "end": write_instant(end_us),
        "mean_score": _number(one.window.mean_score),
        "peak_score": _number(one.peak_score),
        "peak_time": write_instant(one.peak_us),
        "limiting_factor": one.window.limiting_factor,
    }


def _hazard(one: Hazard) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "grade": one.grade,
        "start": _shared_instant(one.start),
        "end": _shared_instant(one.end),
        "value": _number(one.value),
        "unit": one.unit,
        "threshold": _number(one.threshold),
        "source": one.source,
        "text": one.text,
    }


# The hazards of a session begin and end together, most of them.
@lru_cache(maxsize=1024)
def _shared_instant(time: np.datetime64) -> str:
    return write_instant(time)


@lru_cache(maxsize=256)
def _field(name: str) -> str:
    return name + _ENDS[find_factor(name).unit]


def _plain(value: float | str | None) -> float | str | None:
    return value if isinstance(value, str) else _number(value)


def _number(value: float | None) -> float | None:
    if value is None or math.isnan(value):
        return None
    return round(float(value), 3) + 0.0
