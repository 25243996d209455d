"""What the log adds up to: trips and their outcomes, effort, catches by species; coarse rows beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.security import Caller
from service.storage.repositories.joins import TripFilter
from service.storage.repositories.log_sums import OutcomeSum, RowSum
from service.usecases.context import Context
from service.usecases.marks import MARKS
from service.usecases.tallies import SpeciesCount, count_species, is_called


@dataclass(frozen=True, slots=True)
class TotalsView:
    """Totals of the trips and coarse rows that were asked for; no rows where a purpose was, which they do not have."""

    asked: TripFilter
    species: str | None
    outcomes: Sequence[OutcomeSum]
    rows: Sequence[RowSum]
    caught: Sequence[SpeciesCount]


def tell_totals(context: Context, caller: Caller, asked: TripFilter, species: str | None) -> TotalsView:
    """Return totals, with catches of one species alone where it is given; NotFound if there is no such mark."""
    with context.store.unit(caller.account_id) as unit:
        if asked.mark_id is not None:
            MARKS.find(context, unit, [asked.mark_id])
        outcomes, texts = unit.sums.outcomes(asked), unit.sums.caught(asked)
        rows = unit.sums.rows(asked) if asked.purpose is None else []
    caught = count_species(texts, [one.caught for one in rows if one.caught])
    wanted = [one for one in caught if species is None or is_called(one.species, species)]
    return TotalsView(asked, species, outcomes, rows, wanted)
