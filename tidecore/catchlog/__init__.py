"""The catch log: what happened on a trip, how much effort it was, what was caught and what the rules on file say.

``moments`` are times and how sure they are, ``sizes`` lengths and weights; ``trip`` has the documents, ``record`` holds
them against each other, ``diary`` is for coarse rows of old. ``effort`` counts rod-hours, ``bins`` says when a factor
had which value. ``regulations`` are the rules on file, ``limits`` what they say of catches and plans.
"""

from tidecore.catchlog.bins import bins_at, factor_bins, shares
from tidecore.catchlog.diary import CoarseEffort, DiaryRow, Tally, TideHours, coarse_effort, days_of, read_tide_hours
from tidecore.catchlog.effort import Effort, bait_on, effort_by_bin, effort_of, in_use, overlap_us
from tidecore.catchlog.limits import Finding, judge_catches, judge_plan, worst
from tidecore.catchlog.moments import ticks
from tidecore.catchlog.record import Correction, TripRecord, corrected
from tidecore.catchlog.regulations import ClosedHours, Regulation, SizeLimit
from tidecore.catchlog.sizes import (
    Length,
    LengthWeight,
    ReachRemark,
    Weight,
    WeightEstimate,
    estimate_weight,
    longest_cm,
    reach_remark,
    same_species,
)
from tidecore.catchlog.trip import Bite, Cast, Catch, Deployment, MethodChange, Reach, Trip, TripPart

__all__ = [
    "Bite",
    "Cast",
    "Catch",
    "ClosedHours",
    "CoarseEffort",
    "Correction",
    "Deployment",
    "DiaryRow",
    "Effort",
    "Finding",
    "Length",
    "LengthWeight",
    "MethodChange",
    "Reach",
    "ReachRemark",
    "Regulation",
    "SizeLimit",
    "Tally",
    "TideHours",
    "Trip",
    "TripPart",
    "TripRecord",
    "Weight",
    "WeightEstimate",
    "bait_on",
    "bins_at",
    "coarse_effort",
    "corrected",
    "days_of",
    "effort_by_bin",
    "effort_of",
    "estimate_weight",
    "factor_bins",
    "in_use",
    "judge_catches",
    "judge_plan",
    "longest_cm",
    "overlap_us",
    "reach_remark",
    "read_tide_hours",
    "same_species",
    "shares",
    "ticks",
    "worst",
]
