"""High and low waters of one or many stations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.errors import SpanTooLong
from service.security import Caller
from service.usecases.context import Context
from service.usecases.inputs import Input, station_input
from service.usecases.stations import ServedModel, serve_models
from service.usecases.sureness import PLAIN, Sureness
from tidecore.extremes import Extremes
from tidecore.intervals import ExtremeIntervals
from tidecore.timebase import TimeSpan


@dataclass(frozen=True, slots=True)
class ExtremesBasis:
    """What high and low waters rest on: the stations, the span, whether ``secondary`` ones are wanted, how sure."""

    span: TimeSpan
    stations: Sequence[ServedModel]
    secondary: bool
    sureness: Sureness = PLAIN

    @property
    def inputs(self) -> Sequence[Input]:
        """The stations."""
        return [station_input(served) for served in self.stations]

    @property
    def query(self) -> Mapping[str, Any]:
        """The span, which extremes, and what is asked besides."""
        return {"series": "extremes", **span_query(self.span), "secondary": self.secondary, **self.sureness.query}


@dataclass(frozen=True, slots=True)
class ExtremesView:
    """High and low waters and the model they come from; ``intervals`` None where none are asked for or there are."""

    served: ServedModel
    extremes: Extremes
    sureness: Sureness
    intervals: ExtremeIntervals | None


def find_extremes_basis(
    context: Context,
    caller: Caller,
    station_ids: Sequence[str],
    span: TimeSpan,
    version: int | None,
    *,
    secondary: bool,
    sureness: Sureness = PLAIN,
) -> ExtremesBasis:
    """Return what the high and low waters in a span rest on.

    Raises
    ------
    NotFound, NoModel
        If a station, or its version, is not there, or has no model.
    SpanTooLong
        If the span, over all stations, is longer than the limit.
    """
    ids = list(dict.fromkeys(station_ids))
    check_total(span, len(ids), context.settings.max_span_days)
    with context.store.unit(caller.account_id) as unit:
        return ExtremesBasis(span, serve_models(context, unit, ids, version), secondary, sureness)


def find_station_extremes(basis: ExtremesBasis) -> Sequence[ExtremesView]:
    """Return the high and low waters of each station."""
    asked, views = basis.sureness, []
    for served in basis.stations:
        extremes = served.model.extremes(basis.span.start, basis.span.end)
        intervals = None
        if asked.level is not None and served.model.calibration is not None:
            intervals = served.model.extreme_intervals(extremes, asked.level, asked.surge_sd_m)
        if not basis.secondary:
            intervals = None if intervals is None else intervals.select(extremes.primary)
            extremes = extremes.primaries()
        views.append(ExtremesView(served, extremes, asked, intervals))
    return views


def check_total(span: TimeSpan, places: int, limit_days: float) -> None:
    """Refuse a span that, taken once for each of ``places``, is longer than the limit."""
    if span.days * places > limit_days:
        raise SpanTooLong(span.days, limit_days / places, "EBBMARK_MAX_SPAN_DAYS")


def span_query(span: TimeSpan) -> dict[str, int]:
    """Return a span as plain values."""
    return {"start_us": span.start_us, "end_us": span.end_us}
