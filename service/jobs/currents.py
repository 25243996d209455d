"""The work of a fit of the current at a mark."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from service.jobs.worker import JobOutcome, JobTask, Progress
from service.storage.plain import plain

if TYPE_CHECKING:
    from tidecore.flow import LagEstimate, Stream, StreamTiming

#: High and low waters are sought so far beyond the record.
_REACH = np.timedelta64(3, "D")


def fit_current(task: JobTask, progress: Progress) -> JobOutcome:
    """Fit the stream of a record; the heavy libraries load here alone.

    The input holds ``mark_id``, ``mark`` (its document), ``model`` (that of its station), ``latitude`` [degrees],
    ``start_us`` and ``step_us``, ``east`` and ``north`` [m/s, null where missing] and ``flood_towards_deg`` or null.
    """
    from tidecore.flow import fit_stream, stream_timing
    from tidecore.model import TideModel
    from tidecore.offsets import place_tide
    from tidecore.place import Mark

    given = task.input
    mark, model = Mark.parse(given["mark"]), TideModel.from_document(given["model"])
    east, north = (np.array(given[name], dtype=np.float64) for name in ("east", "north"))
    times = (given["start_us"] + given["step_us"] * np.arange(east.size)).view("datetime64[us]")
    progress(0, 2, "fitting both components")
    stream = fit_stream(
        times,
        east,
        north,
        latitude=given["latitude"],
        tide=model.harmonics,
        flood_towards_deg=given["flood_towards_deg"],
    )
    progress(1, 2, "timing its slacks")
    start, end = times[0] - _REACH, times[-1] + _REACH
    if mark.offsets is None:
        tides = model.extremes(start, end)
    else:
        tides = place_tide(model.harmonics, mark.offsets, start, end).extremes
    timing = stream_timing(stream, tides, model.harmonics)
    progress(2, 2, "fitted")
    return JobOutcome(result=plain({"mark_id": given["mark_id"], **_told(stream, timing)}))


def _told(stream: Stream, timing: StreamTiming) -> dict[str, Any]:
    """Return what a fit says: the stream, its lags and its rates, the last two as a mark takes them."""
    lags = {name: _told_lag(lag) for name, lag in (("after_hw", timing.after_hw), ("after_lw", timing.after_lw))}
    return {
        "flood_towards_deg": round(stream.towards_deg, 1),
        "across_part": round(stream.across_part, 3),
        "mean_along_m_per_s": round(stream.along.mean_level, 3),
        "residual_rms_m_per_s": round(stream.residual_rms, 4),
        "variance_explained": round(stream.variance_explained, 4),
        "values": stream.values,
        "constituents": len(stream.east.names),
        **lags,
        "slack_lags": {f"{name}_min": lag["lag_min"] for name, lag in lags.items()},
        "stream_rates": None if timing.rates is None else timing.rates.to_document(),
    }


def _told_lag(lag: LagEstimate) -> dict[str, float]:
    return {
        "lag_min": round(lag.lag_min, 1),
        "low_min": round(lag.low_min, 1),
        "high_min": round(lag.high_min, 1),
        "tides": lag.tides,
    }
