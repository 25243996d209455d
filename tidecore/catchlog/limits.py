"""What the rules on file say of catches. Silence of the file never means that something may be done."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from tidecore.catchlog.diary import days_of
from tidecore.catchlog.findings import Finding, Verdict, finding_of, none_on_file
from tidecore.catchlog.moments import ticks
from tidecore.catchlog.regulations import Regulation, SizeLimit
from tidecore.catchlog.sizes import Length, same_species
from tidecore.catchlog.trip import Catch
from tidecore.errors import Fault, InvalidInput
from tidecore.rules import Species
from tidecore.timebase import US_PER_MINUTE

#: Least measuring error of a length on the shore [cm]; common practice.
MEASURING_ERROR_CM = 1.0


@dataclass(frozen=True, slots=True)
class KeptBesides:
    """A catch of another trip, and the areas whose rules it counts for.

    None where nobody says which hold there: it counts for no rule, and may leave open whether a bag is full.
    """

    catch: Catch
    areas: frozenset[str] | None


class _Others(NamedTuple):
    """How many of a species on other trips may fill a bag, how many surely do; how many nobody knows to, uncounted."""

    most: int
    certain: int
    unplaced: int


#: A catch besides, with its local days.
_Besides = Sequence[tuple[KeptBesides, tuple[datetime.date, ...]]]


def judge_catches(
    catches: Sequence[Catch],
    regulations: Sequence[Regulation],
    zone: zoneinfo.ZoneInfo,
    anglers: int = 1,
    *,
    besides: Sequence[KeptBesides] = (),
) -> tuple[Finding, ...]:
    """Return what the rules on file say of what was kept.

    Parameters
    ----------
    catches : sequence of Catch
        Those returned are not judged.
    regulations : sequence of Regulation
        Those on file for the place.
    zone : ZoneInfo
        By whose clocks a day is counted.
    anglers : int
        How many share the catches, those besides too; at least 1.
    besides : sequence of KeptBesides
        What else was kept on these days, on other trips: it fills bags, and is not judged for itself.

    Returns
    -------
    tuple of Finding
        For every fish kept one at least. Where a species has a rule, but none of a matter, that is said too.

    Raises
    ------
    InvalidInput
        If there are no anglers.
    """
    if anglers < 1:
        raise InvalidInput(Fault("anglers", f"is {anglers}", "1 or more"))
    found: list[Finding] = []
    kept = [(place, one) for place, one in enumerate(catches) if one.fate == "kept"]
    days = {place: _days(one, zone) for place, one in kept}
    for place, one in kept:
        its = [rule for rule in regulations if rule.concerns(one.species)]
        found += _of_one(place, one, its, days[place])
    found += _bags(kept, regulations, days, anglers, _besides(besides, zone))
    return tuple(found)


def _days(catch: Catch, zone: zoneinfo.ZoneInfo) -> tuple[datetime.date, ...]:
    """Return the local day of a catch; two where its time is too unsure to tell."""
    at, slack = ticks(catch.at), catch.precision_min * US_PER_MINUTE
    return tuple(dict.fromkeys(days_of(np.array([at - slack, at + slack], dtype=np.int64), zone)))


def _of_one(
    place: int, catch: Catch, rules: Sequence[Regulation], days: tuple[datetime.date, ...]
) -> Iterator[Finding]:
    name, at = catch.species.scientific_name, (place,)
    if not rules:
        yield none_on_file("species", name, "rule", at)
        return
    for rule in rules:
        closed = [rule.closed_on(day) for day in days]
        if all(closed):
            text = f"{name}: kept while it is {str(closed[0]).replace('_', ' ')}."
            yield finding_of("breach", "season", text, rule, days[0], at)
        elif any(closed):
            text = f"{name}: the time is too unsure to tell whether the season was open."
            yield finding_of("cannot_compare", "season", text, rule, days[0], at)
        elif rule.release_only or rule.banned:
            yield finding_of(
                "in_order", "season", f"{name}: the season is open by the rule on file.", rule, days[0], at
            )
    if not any(rule.release_only or rule.banned for rule in rules):
        yield none_on_file("season", name, "season", at)
    sized = [rule for rule in rules if rule.sizes]
    for rule in sized:
        verdict, text = _size(catch.length, rule.sizes)
        yield finding_of(verdict, "size", f"{name}: {text}", rule, days[0], at)
    if not sized:
        yield none_on_file("size", name, "size", at)


def _size(length: Length | None, sizes: Sequence[SizeLimit]) -> tuple[Verdict, str]:
    """Return the verdict on a length, and why."""
    if length is None:
        return "cannot_compare", "no length is on record: can't compare."
    limit = next((size for size in sizes if size.kind == length.kind), None)
    if limit is None:
        kinds = ", ".join(size.kind for size in sizes)
        return (
            "cannot_compare",
            f"the length is {length.kind}, the rule is of {kinds}: kinds of length differ, can't compare.",
        )
    error = max(MEASURING_ERROR_CM, length.precision_cm)
    verdict: Verdict = "in_order"
    text = f"{length.cm:g} cm ({length.kind}): size in order by the rule on file."
    # The limit is met to the last digit: what is measured is no finer than the error.
    for bound, short, word in ((limit.min_cm, -1.0, "under"), (limit.max_cm, 1.0, "over")):
        beyond = short * (length.cm - bound) if bound is not None else -1e9
        if beyond > error + 1e-9:
            return "breach", f"{length.cm:g} cm is {word} the {bound:g} cm of the rule ({length.kind})."
        if beyond >= -error - 1e-9:
            verdict = "within_measuring_error"
            text = f"{length.cm:g} cm is within {error:g} cm of the {bound:g} cm of the rule: treat it as {word}."
    return verdict, text


def _bags(
    kept: Sequence[tuple[int, Catch]],
    regulations: Sequence[Regulation],
    days: dict[int, tuple[datetime.date, ...]],
    anglers: int,
    besides: _Besides,
) -> Iterator[Finding]:
    told: list[Species] = []
    for _, catch in kept:
        if any(same_species(catch.species, species) for species in told):
            continue
        told.append(catch.species)
        mine = [place for place, one in kept if same_species(one.species, catch.species)]
        rules = [rule for rule in regulations if rule.concerns(catch.species)]
        bagged = [rule for rule in rules if rule.bag is not None]
        if rules and not bagged:
            yield none_on_file("bag", catch.species.scientific_name, "bag", tuple(mine))
        for rule in bagged:
            for day in sorted({day for place in mine for day in days[place]}):
                held = [(place, days[place]) for place in mine if day in days[place]]
                yield _bag(catch.species, rule, day, held, anglers, _counted(besides, catch.species, rule, day))


def _besides(besides: Sequence[KeptBesides], zone: zoneinfo.ZoneInfo) -> _Besides:
    return [(one, _days(one.catch, zone)) for one in besides if one.catch.fate == "kept"]


def _counted(besides: _Besides, species: Species, rule: Regulation, day: datetime.date) -> _Others:
    """Return what was kept of a species besides on a day, as far as it concerns the bag of a rule."""
    of_day = [(one, days) for one, days in besides if day in days and same_species(one.catch.species, species)]
    counted = [days for one, days in of_day if one.areas is not None and rule.area in one.areas]
    unplaced = sum(one.areas is None for one, _ in of_day)
    return _Others(len(counted), sum(len(days) == 1 for days in counted), unplaced)


def _bag(
    species: Species,
    rule: Regulation,
    day: datetime.date,
    places: Sequence[tuple[int, tuple[datetime.date, ...]]],
    anglers: int,
    others: _Others,
) -> Finding:
    """Return what a bag says of one local day."""
    bag = rule.bag or 0
    verdict: Verdict
    most, certain = len(places) + others.most, sum(len(days) == 1 for _, days in places) + others.certain
    shown = f"{species.scientific_name}: {most} kept on {day.isoformat()}"
    if others.most:
        shown += f", {others.most} of them on other trips"
    if certain > bag * anglers:
        verdict, text = "breach", f"{shown}, the bag is {bag} an angler."
    elif most > bag * anglers:
        verdict, text = "cannot_compare", f"{shown} or the day beside it, the bag is {bag} an angler: times too unsure."
    elif most > bag:
        verdict = "cannot_compare"
        text = f"{shown} by {anglers} anglers, the bag is {bag} each: whose they are is not told."
    elif most + others.unplaced > bag:
        verdict, are = "cannot_compare", "is" if others.unplaced == 1 else "are"
        text = (
            f"{shown}, the bag is {bag} an angler: "
            f"{others.unplaced} on other trips at marks without a stated area {are} not counted."
        )
    else:
        verdict, text = "in_order", f"{shown}: bag of {bag} in order by the rule on file."
    return finding_of(verdict, "bag", text, rule, day, tuple(place for place, _ in places))
