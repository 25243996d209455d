"""A month at a mark, searched for just now and planned as a plan would have it, for a sheet."""

from __future__ import annotations

from typing import Any

from service.jobs.plan_documents import planned_document
from service.usecases.mark_charts import DRAWN, MOST_SHOWN, STEP, ChartBasis
from service.usecases.plan_charts import Drawing
from service.usecases.sessions import search_sessions
from tidecore.timeline import build_timeline
from tidecore.windows import SessionOptions, plan_sessions


def build_month_drawing(basis: ChartBasis) -> Drawing:
    """Return the best sessions of the days of a chart, those that are alike apart, with the tide."""
    result = search_sessions(basis.sessions)
    ((view, served),) = result.marks
    told = result.conditions[view.record.id]
    planned = plan_sessions(
        result.searches[view.record.id], SessionOptions(), most=MOST_SHOWN[basis.kind], diverse=True
    )
    document: dict[str, Any] = planned_document(planned)
    timeline = build_timeline(
        view.document, served.model, basis.span.start, basis.span.end + STEP, step=STEP, names=DRAWN
    )
    return Drawing(
        kind=basis.kind,
        date=basis.date,
        mark=view,
        served=served,
        span=basis.span,
        timeline=timeline,
        sessions=sorted(
            [{"mark_id": view.record.id, **one} for one in document["sessions"]], key=lambda one: one["rank"]
        ),
        nothing=document["nothing"],
        said=told.said(basis.span),
        fish={one.record.id: one.document.species.local_name or one.document.name for one in result.rules},
        loosened=basis.sessions.thresholds.thresholds.loosened,
        made=None,
    )
