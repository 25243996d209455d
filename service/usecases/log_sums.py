"""What years of a log add up to: catches by species, and trips in the bins of a factor or at their marks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from service.storage.facts import name_hash
from service.storage.repositories.joins import TripFilter
from service.usecases.log_columns import Coded, FactYear, YearCaught
from service.usecases.log_species import Names, keys_of, told_by
from service.usecases.tallies import SpeciesCount, species_named
from tidecore.timebase import US_PER_HOUR
from tidecore.units import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class TripTable:
    """Trips that were fished by the bins of something.

    Of each bin, ``bins`` has what every trip in it caught and its effort there [h, NaN unknown]; ``counts`` and
    ``efforts_h`` are those of every trip over all bins, its effort unknown where it is in one or has no rod on record.
    """

    bins: Sequence[tuple[FloatArray, FloatArray]]
    counts: FloatArray
    efforts_h: FloatArray


def sum_species(
    trips: Sequence[YearCaught], rows: Sequence[YearCaught], wanted: TripFilter, species: Names | None
) -> list[SpeciesCount]:
    """Return what trips and coarse rows caught by species, the most first; one species alone where it is given."""
    spelled = [named for _, caught in (*trips, *rows) for named in caught.species.values]
    keys = keys_of(spelled)
    told = told_by(spelled, keys)
    numbers = {key: number for number, key in enumerate(told)}
    found = np.zeros((len(told), 5), dtype=np.int64)
    for years, coarse in ((trips, False), (rows, True)):
        for year, caught in years:
            own = year.places.chosen(wanted)[caught.of] & caught.of_species(species)
            of_values = np.array([numbers[keys[named]] for named in caught.species.values], dtype=np.int64)
            at = of_values[caught.species.codes[own]] if own.any() else np.empty(0, dtype=np.int64)
            for place in range(3):
                found[:, place] += np.bincount(at, caught.sums[own, place], len(told)).astype(np.int64)
            if coarse:
                found[:, 4] += np.bincount(at, caught.sums[own, 0], len(told)).astype(np.int64)
            else:
                if np.unique(of_values).size < of_values.size:
                    # A trip that spells a species in two ways caught it once.
                    trips_of = len(caught.days)
                    at = np.unique(at * trips_of + caught.of[own]) // trips_of
                found[:, 3] += np.bincount(at, minlength=len(told))
    sums = zip(told.values(), found.tolist(), strict=True)
    there = [SpeciesCount(species_named(named), *counts) for named, counts in sums if counts[0]]
    return sorted(there, key=lambda one: (-one.count, one.species.scientific_name))


def table_of_facts(
    years: Iterable[FactYear], wanted: TripFilter, bins: int, species: Names | None, *, raw: bool
) -> TripTable:
    """Return trips by the bins of a factor; effort is of rods in use where ``raw``, else of baits in the water."""
    parts = [_dense(year, year.places.chosen(wanted), bins, species, raw=raw) for year in years]
    counts, hours, there = (np.concatenate(found) for found in zip(*parts, strict=True)) if parts else (
        np.zeros((0, bins)), np.zeros((0, bins)), np.zeros((0, bins), dtype=np.bool_)
    )  # fmt: skip
    columns = [(counts[rows, place], hours[rows, place]) for place, rows in enumerate(there.T)]
    # Of a trip without rods nothing is known in any bin, be it in one or not.
    return TripTable(columns, counts.sum(axis=1), np.where(there | np.isnan(hours), hours, 0.0).sum(axis=1))


def _dense(
    year: FactYear, chosen: BoolArray, bins: int, species: Names | None, *, raw: bool
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return counts and hours of chosen trips, and whether each was in a bin; all of shape trips by bins."""
    found = year if chosen.all() else year.kept(chosen)
    fish, of, efforts, trips = found.caught, found.of_caught, found.efforts, found.of_effort
    if species is not None:
        wanted = np.isin(fish[:, 1:3], [name_hash(name) for name in species]).any(axis=1)
        fish, of = fish[wanted], of[wanted]
    shape = (len(found.rods), bins)
    counts = np.bincount(of * bins + fish[:, 0], fish[:, 3], shape[0] * bins).reshape(shape).astype(np.float64)
    in_use, hours = np.zeros(shape), np.zeros(shape)
    in_use[trips, efforts[:, 0]] = efforts[:, 1]
    told = efforts[:, 1] if raw else np.where(efforts[:, 3] > 0, np.nan, efforts[:, 2])
    hours[trips, efforts[:, 0]] = told / US_PER_HOUR
    hours[~found.rods] = np.nan
    # A rod in use without a bait in the water is no effort there, and none that is unknown.
    return counts, hours, ((in_use > 0.0) & (hours != 0.0)) | (counts > 0.0)


def table_of_marks(
    years: Iterable[YearCaught], wanted: TripFilter, species: Names | None, *, raw: bool
) -> tuple[tuple[str, ...], TripTable]:
    """Return trips by their mark, and the ids of these in order."""
    marks, counts, hours = [], [np.zeros(0)], [np.zeros(0)]
    for year, caught in years:
        chosen = year.places.chosen(wanted) & year.fished
        marks.append(year.places.marks.kept(chosen))
        counts.append(caught.counts(species)[chosen].astype(np.float64))
        told = year.told & (raw | (year.efforts_us[:, 2] == 0))
        hours.append(np.where(told, year.efforts_us[:, 0 if raw else 1] / US_PER_HOUR, np.nan)[chosen])
    fish, effort, at = np.concatenate(counts), np.concatenate(hours), Coded.joined(marks)
    names = tuple(sorted(at.values[code] for code in np.unique(at.codes).tolist()))
    columns = [(fish[rows], effort[rows]) for rows in (at.equal(name) for name in names)]
    return names, TripTable(columns, fish, effort)
