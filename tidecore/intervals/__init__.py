"""Prediction intervals: how sure heights, high and low waters are, told from the record of the fit."""

from tidecore.intervals.answers import (
    NO_INTERVAL,
    ExtremeIntervals,
    HeightIntervals,
    check_level,
    extreme_bounds,
    height_bounds,
    required,
)
from tidecore.intervals.calibration import Calibration, calibrate, interval_score
from tidecore.intervals.document import calibration_document, calibration_of
from tidecore.intervals.surge import WEATHER_CAUTION, Surge, check_surge_sd, inverse_barometer, series_at, surge_of

__all__ = [
    "NO_INTERVAL",
    "WEATHER_CAUTION",
    "Calibration",
    "ExtremeIntervals",
    "HeightIntervals",
    "Surge",
    "calibrate",
    "calibration_document",
    "calibration_of",
    "check_level",
    "check_surge_sd",
    "extreme_bounds",
    "height_bounds",
    "interval_score",
    "inverse_barometer",
    "required",
    "series_at",
    "surge_of",
]
