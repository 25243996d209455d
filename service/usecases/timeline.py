"""Timeline of a mark: chosen factors over a span."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.errors import DocumentInvalid, SpanTooLong
from service.security import Caller
from service.usecases.context import Context
from service.usecases.heights import check_points
from service.usecases.marks import MARKS, MarkView
from service.usecases.stations import ServedModel, serve_model
from tidecore.errors import Fault
from tidecore.timebase import TimeSpan
from tidecore.timeline import factors
from tidecore.timeline.build import build_timeline
from tidecore.timeline.columns import Timeline


@dataclass(frozen=True, slots=True)
class TimelineView:
    """A timeline and what it rests on."""

    mark: MarkView
    served: ServedModel
    timeline: Timeline


def build_mark_timeline(
    context: Context,
    caller: Caller,
    mark_id: str,
    span: TimeSpan,
    step_us: int,
    names: Sequence[str] | None,
    version: int | None,
) -> TimelineView:
    """Return the timeline of a mark; ``names`` chooses factors, all of them unless given.

    Raises
    ------
    DocumentInvalid
        If a factor is not known.
    SpanTooLong, TooManyPoints
        If the span, or factors times instants, exceed the limits.
    """
    wanted = tuple(factors()) if names is None else tuple(dict.fromkeys(names))
    faults = [
        Fault(f"factors.{place}", f"there is no factor {ascii(name)[:60]}", f"one of: {', '.join(factors())}")
        for place, name in enumerate(wanted)
        if name not in factors()
    ]
    if faults:
        raise DocumentInvalid(faults)
    settings = context.settings
    if span.days > settings.max_timeline_days:
        raise SpanTooLong(span.days, settings.max_timeline_days, "EBBMARK_MAX_TIMELINE_DAYS")
    check_points(span, step_us, len(wanted), settings.max_points)
    with context.store.unit(caller.account_id) as unit:
        view = MARKS.find(context, unit, [mark_id])[0]
        served = serve_model(context, unit, view.document.station, version)
    timeline = build_timeline(
        view.document, served.model, span.start, span.end, step=np.timedelta64(step_us, "us"), names=wanted
    )
    return TimelineView(view, served, timeline)
