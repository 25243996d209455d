"""What the log adds up to: trips and their outcomes, effort, catches by species; coarse rows beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.security import Caller
from service.storage.repositories.joins import TripFilter
from service.storage.repositories.log_months import ROW_PART, TRIP_PART
from service.usecases.context import Context
from service.usecases.log_columns import LogYear
from service.usecases.log_reading import Knows, LogBasis, LogReader
from service.usecases.log_sums import sum_species
from service.usecases.marks import MARKS
from service.usecases.tallies import SpeciesCount
from tidecore.units import BoolArray


@dataclass(frozen=True, slots=True)
class OutcomeSum:
    """What trips (or coarse rows) of one outcome and purpose add up to.

    ``told`` of them have effort on record; ``efforts_us`` is raw, bait-on and uncast time, of coarse rows hours times
    rods [microseconds].
    """

    outcome: str
    purpose: str | None
    trips: int
    told: int
    efforts_us: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class TotalsView:
    """Totals of the trips and coarse rows that were asked for; no rows where a purpose was, which they do not have."""

    asked: TripFilter
    species: str | None
    outcomes: Sequence[OutcomeSum]
    rows: Sequence[OutcomeSum]
    caught: Sequence[SpeciesCount]


def tell_totals(
    context: Context, caller: Caller, asked: TripFilter, species: str | None, knows: Knows
) -> TotalsView | None:
    """Return totals, with catches of one species alone where it is given; None where who asks ``knows`` them.

    NotFound is raised if there is no such mark.
    """
    with context.store.unit(caller.account_id) as unit:
        if asked.mark_id is not None:
            MARKS.find(context, unit, [asked.mark_id])
        log = LogReader(context, unit)
        if knows(LogBasis(f"totals {asked} {species!r}", tuple(log.versions(TRIP_PART, ROW_PART)))):
            return None
        trips, rows = log.trips_caught(asked), log.rows_caught(asked)
        names = log.names_meant(species)
    caught = sum_species(trips, rows, asked, names)
    outcomes, coarse = (
        sum_outcomes([one for one, _ in some], [one.places.chosen(asked) for one, _ in some]) for some in (trips, rows)
    )
    return TotalsView(asked, species, outcomes, coarse, caught)


def sum_outcomes(years: Sequence[LogYear], wanted: Sequence[BoolArray]) -> list[OutcomeSum]:
    """Return things by outcome and purpose, in the order of these; ``wanted`` says of every year which count."""
    found: dict[tuple[str, str | None], list[int]] = {}
    for year, chosen in zip(years, wanted, strict=True):
        purposes = year.places.purposes
        for outcome in year.outcomes.values:
            so = chosen & year.outcomes.equal(outcome)
            for purpose in (None,) if purposes is None else purposes.values:
                own = so if purposes is None else so & purposes.equal(purpose)
                if own.any():
                    sums = [np.count_nonzero(own), np.count_nonzero(own & year.told), *year.efforts_us[own].sum(axis=0)]
                    before = found.get((outcome, purpose), [0] * len(sums))
                    found[outcome, purpose] = [int(one) + other for one, other in zip(sums, before, strict=True)]
    return [
        OutcomeSum(outcome, purpose, sums[0], sums[1], tuple(sums[2:]))
        for (outcome, purpose), sums in sorted(found.items(), key=lambda one: (one[0][0], one[0][1] or ""))
    ]
