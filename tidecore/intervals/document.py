"""A calibration as plain JSON values and back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from tidecore.errors import UnknownName
from tidecore.intervals.calibration import TIME_FEATURES, Calibration, WaterTimes
from tidecore.intervals.features import KINDS, features_of
from tidecore.intervals.spread import PROBABILITIES, Spread
from tidecore.units import FloatArray


def calibration_document(found: Calibration | None) -> dict[str, Any] | None:
    """Return a calibration as plain JSON values: some 150 numbers, which keep the probabilities they were made with."""
    if found is None:
        return None
    times = None
    if found.times is not None:
        times = {
            "spread": _spread_document(found.times.spread),
            "late_min": found.times.table.tolist(),
            "sharpness_m_per_h2": found.times.sharpness,
            "count": found.times.count,
        }
    return {
        "probabilities": PROBABILITIES.tolist(),
        "depends_on": found.kind,
        "tide_size_m": found.size[0],
        "tide_size_m_per_h": found.size[1],
        "spread": _spread_document(found.spread),
        "heights": found.heights.tolist(),
        "highs": found.highs.tolist(),
        "lows": found.lows.tolist(),
        "calm": found.calm.tolist(),
        "residual_sd_m": found.residual_sd_m,
        "score_ratio": found.score_ratio,
        "days": found.days,
        "times": times,
    }


def calibration_of(document: Mapping[str, Any] | None) -> Calibration | None:
    """Return the calibration of what `calibration_document` made.

    Raises
    ------
    KeyError, TypeError, ValueError, UnknownName
        If it is damaged.
    """
    if document is None:
        return None
    if not np.array_equal(document["probabilities"], PROBABILITIES):
        raise ValueError("quantiles at other probabilities than this version's")
    kind = document["depends_on"]
    if kind not in KINDS:
        raise UnknownName("kind of spread", str(kind), KINDS)
    times = document["times"]
    none = np.empty(0)
    features = features_of(kind, none.astype(np.int64), none, none, (1.0, 1.0)).shape[1]
    return Calibration(
        kind=kind,
        size=(float(document["tide_size_m"]), float(document["tide_size_m_per_h"])),
        spread=_spread_of(document["spread"], features),
        heights=_table(document["heights"]),
        highs=_table(document["highs"]),
        lows=_table(document["lows"]),
        calm=_table(document["calm"]),
        residual_sd_m=float(document["residual_sd_m"]),
        score_ratio=float(document["score_ratio"]),
        days=float(document["days"]),
        times=None
        if times is None
        else WaterTimes(
            _spread_of(times["spread"], TIME_FEATURES),
            _table(times["late_min"]),
            float(times["sharpness_m_per_h2"]),
            int(times["count"]),
        ),
    )


def _spread_document(spread: Spread) -> dict[str, list[float]]:
    return {"above": spread.above.tolist(), "below": spread.below.tolist()}


def _spread_of(document: Mapping[str, Any], features: int) -> Spread:
    above, below = (np.array(document[side], dtype=np.float64) for side in ("above", "below"))
    if above.shape != (features,) or below.shape != (features,) or not np.isfinite([above, below]).all():
        raise ValueError("a spread of other features than it depends on")
    return Spread(above, below)


def _table(values: Any) -> FloatArray:
    found = np.array(values, dtype=np.float64)
    if found.shape != PROBABILITIES.shape or not np.isfinite(found).all() or np.any(np.diff(found) < 0.0):
        raise ValueError("a table of quantiles that is none")
    return found
