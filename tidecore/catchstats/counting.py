"""From a trip on record to what it adds to a rate, bin by bin."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from typing import Literal

from tidecore.catchlog import Effort, TripRecord, effort_by_bin, effort_of, same_species, shares, ticks
from tidecore.catchstats.rates import TripCount
from tidecore.rules import Species
from tidecore.units import IntArray

#: The bin of what happened outside all others.
OUTSIDE = "outside"


def count_trip(
    trip: Hashable, record: TripRecord, *, species: Species | None = None, effort: Literal["bait_on", "raw"] = "bait_on"
) -> TripCount:
    """Return what a whole trip adds: its catches, of one species or all, and its effort.

    Parameters
    ----------
    trip : hashable
        How the trip is called.
    record : TripRecord
        The trip.
    species : Species, optional
        What is counted.
    effort : str
        Bait-on time, which is NaN where a rod has no casts on record, or raw rod-hours.
    """
    fished = record.trip.outcome != "not_fished"
    caught = sum(species is None or same_species(one.species, species) for one in record.catches)
    return TripCount(trip, caught, _hours(effort_of(record.deployments), effort, record) if fished else 0.0, fished)


def count_by_bin(
    trip: Hashable,
    record: TripRecord,
    bins: Mapping[str, IntArray],
    *,
    species: Species | None = None,
    effort: Literal["bait_on", "raw"] = "bait_on",
) -> dict[str, TripCount]:
    """Return what a trip adds to each bin, and to ``"outside"`` where it caught something outside all of them.

    Parameters as of `count_trip`; ``bins`` as `tidecore.catchlog.factor_bins` gives them. A catch whose time is too
    unsure for one bin counts in the one that most of its time lies in. Bins in which a trip that was fished had neither
    effort nor catch are left out; a trip that was not fished is in none.
    """
    if record.trip.outcome == "not_fished":
        return {}
    counts = dict.fromkeys((*bins, OUTSIDE), 0)
    for one in record.catches:
        if species is None or same_species(one.species, species):
            counts[next(iter(shares(bins, ticks(one.at), one.precision_min)), OUTSIDE)] += 1
    efforts = effort_by_bin(record.deployments, bins)
    return {
        name: TripCount(trip, count, _hours(efforts.get(name, Effort()), effort, record))
        for name, count in counts.items()
        if count or (name in efforts and efforts[name].raw_us)
    }


def _hours(effort: Effort, kind: Literal["bait_on", "raw"], record: TripRecord) -> float:
    """Return the effort in hours; NaN where it is not known."""
    if not record.deployments:
        return math.nan
    if kind == "raw":
        return effort.raw_rod_h
    return effort.bait_on_h if effort.bait_on_known else math.nan
