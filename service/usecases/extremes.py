"""High and low waters of one or many stations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from service.errors import SpanTooLong
from service.security import Caller
from service.usecases.context import Context
from service.usecases.inputs import Input, station_input
from service.usecases.levels import offset_to
from service.usecases.stations import ServedModel, serve_models
from service.usecases.sureness import PLAIN, Sureness
from tidecore.extremes import Extremes
from tidecore.intervals import ExtremeIntervals
from tidecore.timebase import TimeSpan


@dataclass(frozen=True, slots=True)
class ExtremesBasis:
    """What high and low waters rest on: stations, span, whether ``secondary`` ones are wanted, the datum, how sure.

    ``offsets`` [m] say how far the datum, where it is not the station's own, lies above that.
    """

    span: TimeSpan
    stations: Sequence[ServedModel]
    secondary: bool
    datum: str | None
    offsets: Sequence[float]
    sureness: Sureness = PLAIN

    @property
    def inputs(self) -> Sequence[Input]:
        """The stations."""
        return [station_input(served) for served in self.stations]

    @property
    def query(self) -> Mapping[str, Any]:
        """The span, which extremes, the datum, and what is asked besides."""
        asked = {"secondary": self.secondary, "datum": self.datum, **self.sureness.query}
        return {"series": "extremes", **span_query(self.span), **asked}


@dataclass(frozen=True, slots=True)
class ExtremesView:
    """High and low waters, the model they come from, and what heights are above.

    ``intervals`` is None where none are asked for or there are none.
    """

    served: ServedModel
    extremes: Extremes
    datum: str
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
    datum: str | None,
    sureness: Sureness = PLAIN,
) -> ExtremesBasis:
    """Return what the high and low waters in a span rest on.

    Raises
    ------
    NotFound, NoModel
        If a station, or its version, is not there, or has no model.
    SpanTooLong
        If the span, over all stations, is longer than the limit.
    DatumUnknown, DatumsUnreliable
        As `offset_to`.
    """
    ids = list(dict.fromkeys(station_ids))
    check_total(span, len(ids), context.settings.max_span_days)
    with context.store.unit(caller.account_id) as unit:
        served = serve_models(context, unit, ids, version)
    return ExtremesBasis(span, served, secondary, datum, [offset_to(context, one, datum) for one in served], sureness)


def find_station_extremes(basis: ExtremesBasis) -> Sequence[ExtremesView]:
    """Return the high and low waters of each station."""
    asked, views = basis.sureness, []
    for served, offset in zip(basis.stations, basis.offsets, strict=True):
        extremes = served.model.extremes(basis.span.start, basis.span.end)
        intervals = None
        if asked.level is not None and served.model.calibration is not None:
            intervals = served.model.extreme_intervals(extremes, asked.level, asked.surge_sd_m)
        if not basis.secondary:
            intervals = None if intervals is None else intervals.select(extremes.primary)
            extremes = extremes.primaries()
        if basis.datum is not None:
            extremes = replace(extremes, height=extremes.height - offset)
            intervals = None if intervals is None else intervals.above(offset)
        views.append(ExtremesView(served, extremes, basis.datum or served.model.datum, asked, intervals))
    return views


def check_total(span: TimeSpan, places: int, limit_days: float) -> None:
    """Refuse a span that, taken once for each of ``places``, is longer than the limit."""
    if span.days * places > limit_days:
        raise SpanTooLong(span.days, limit_days / places, "EBBMARK_MAX_SPAN_DAYS")


def span_query(span: TimeSpan) -> dict[str, int]:
    """Return a span as plain values."""
    return {"start_us": span.start_us, "end_us": span.end_us}
