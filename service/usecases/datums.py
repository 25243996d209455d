"""Tidal datums of a station."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.security import Caller
from service.usecases.context import Context
from service.usecases.extremes import check_total, span_query
from service.usecases.inputs import Input, station_input
from service.usecases.levels import standard_datums
from service.usecases.stations import ServedModel, serve_models
from tidecore.datums import TidalDatums
from tidecore.timebase import TimeSpan


@dataclass(frozen=True, slots=True)
class DatumsBasis:
    """What tidal datums rest on: the tide, the span (None: the standard one), and whether a short record will do."""

    served: ServedModel
    span: TimeSpan | None
    short_record: bool

    @property
    def inputs(self) -> Sequence[Input]:
        """The station."""
        return [station_input(self.served)]

    @property
    def query(self) -> Mapping[str, Any]:
        """The span, and whether a short record is good enough."""
        span = None if self.span is None else span_query(self.span)
        return {"series": "datums", "span": span, "short_record": self.short_record}


def find_datums_basis(
    context: Context,
    caller: Caller,
    station_id: str,
    span: TimeSpan | None,
    version: int | None,
    *,
    short_record: bool,
) -> DatumsBasis:
    """Return what the tidal datums of a station rest on.

    Raises
    ------
    NotFound, NoModel
        If the station, or its version, is not there, or has no model.
    SpanTooLong
        If the span is longer than the limit.
    """
    if span is not None:
        check_total(span, 1, context.settings.max_span_days)
    with context.store.unit(caller.account_id) as unit:
        return DatumsBasis(serve_models(context, unit, [station_id], version)[0], span, short_record)


def compute_datums(context: Context, basis: DatumsBasis) -> TidalDatums:
    """Return the tidal datums; raises `DatumsUnreliable` and `InvalidSpan` as `TideModel.datums`."""
    if basis.span is None:
        return standard_datums(context, basis.served, short_record=basis.short_record)
    return basis.served.model.datums(basis.span.start, basis.span.end, short_record=basis.short_record)
