"""The catch log: what happened on a trip, how much effort it was, what was caught and what the rules on file say.

``moments`` are times and how sure they are, ``sizes`` lengths and weights; ``trip`` has the documents, ``record`` holds
them against each other, ``bounds`` are those of times that are written, ``diary`` is for coarse rows of old. ``effort``
counts rod-hours, ``bins`` says when a factor had which value, ``default_bins`` which factors are looked at, ``joined``
what they were at each thing of a trip. ``tallies`` sum a trip up. ``regulations`` are the rules on file; ``findings``
what one says, ``limits`` of catches, ``plans`` of plans.
"""

from tidecore.catchlog.bins import Steps, bin_names, bins_at, factor_bins, shares, steps_of
from tidecore.catchlog.bounds import out_of_bounds, surely_within, times_of
from tidecore.catchlog.default_bins import BINS_VERSION, DEFAULT_BINS, VALUES_ALONE, DefaultBins
from tidecore.catchlog.diary import CoarseEffort, DiaryRow, Tally, TideHours, coarse_effort, days_of, read_tide_hours
from tidecore.catchlog.effort import (
    Effort,
    bait_on,
    effort_by_bin,
    effort_is_on_record,
    effort_of,
    effort_of_times,
    in_use,
    overlap_us,
)
from tidecore.catchlog.findings import Finding, areas_on_file, worst
from tidecore.catchlog.joined import AtEvent, BinCount, JoinedTrip, OverDeployment, join_trips, trip_ends_us
from tidecore.catchlog.limits import KeptBesides, judge_catches
from tidecore.catchlog.moments import ticks
from tidecore.catchlog.plans import judge_plan
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
from tidecore.catchlog.tallies import (
    Longest,
    SpeciesTally,
    effort_on_record,
    longest_of,
    species_key,
    tally_catches,
    tally_row,
)
from tidecore.catchlog.trip import Bite, Cast, Catch, Deployment, MethodChange, Reach, Trip, TripPart

__all__ = [
    "BINS_VERSION",
    "DEFAULT_BINS",
    "VALUES_ALONE",
    "AtEvent",
    "BinCount",
    "Bite",
    "Cast",
    "Catch",
    "ClosedHours",
    "CoarseEffort",
    "Correction",
    "DefaultBins",
    "Deployment",
    "DiaryRow",
    "Effort",
    "Finding",
    "JoinedTrip",
    "KeptBesides",
    "Length",
    "LengthWeight",
    "Longest",
    "MethodChange",
    "OverDeployment",
    "Reach",
    "ReachRemark",
    "Regulation",
    "SizeLimit",
    "SpeciesTally",
    "Steps",
    "Tally",
    "TideHours",
    "Trip",
    "TripPart",
    "TripRecord",
    "Weight",
    "WeightEstimate",
    "areas_on_file",
    "bait_on",
    "bin_names",
    "bins_at",
    "coarse_effort",
    "corrected",
    "days_of",
    "effort_by_bin",
    "effort_is_on_record",
    "effort_of",
    "effort_of_times",
    "effort_on_record",
    "estimate_weight",
    "factor_bins",
    "in_use",
    "join_trips",
    "judge_catches",
    "judge_plan",
    "longest_cm",
    "longest_of",
    "out_of_bounds",
    "overlap_us",
    "reach_remark",
    "read_tide_hours",
    "same_species",
    "shares",
    "species_key",
    "steps_of",
    "surely_within",
    "tally_catches",
    "tally_row",
    "ticks",
    "times_of",
    "trip_ends_us",
    "worst",
]
