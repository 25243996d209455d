"""The order in which outings are shown: over all, or for each mark, species or day by itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.errors import UnknownName
from tidecore.rules import SpeciesRule
from tidecore.timeline.wall_clock import local_times
from tidecore.windows.curves import MarkSearch
from tidecore.windows.diversity import diversified, ordered, without_overlaps
from tidecore.windows.outings import Outing

Grouping = Literal["overall", "mark", "species", "day"]
GROUPINGS: tuple[Grouping, ...] = ("overall", "mark", "species", "day")


@dataclass(frozen=True, slots=True)
class RankedOuting:
    """An outing with its place, from 1: in its ``group`` and by what counts there [h].

    ``group`` is the key of a mark, the scientific name of a species, a local date, or empty over all.
    """

    group: str
    rank: int
    worth_h: float
    outing: Outing


def local_day(search: MarkSearch, outing: Outing) -> str:
    """Return the date of the arrival by the clocks of a mark."""
    times = local_times(search.timeline.mark.zone, np.array([outing.arrive_us], dtype=np.int64))
    return str(times[0].astype("datetime64[D]"))


def local_days(searches: Mapping[str, MarkSearch], outings: Sequence[Outing]) -> list[str]:
    """Return what `local_day` returns of each outing, all of a mark worked out at once."""
    places: dict[str, list[int]] = {}
    for place, one in enumerate(outings):
        places.setdefault(one.marks[0], []).append(place)
    days = [""] * len(outings)
    for mark, some in places.items():
        arrivals = np.array([outings[place].arrive_us for place in some], dtype=np.int64)
        times = local_times(searches[mark].timeline.mark.zone, arrivals).astype("datetime64[D]")
        for place, day in zip(some, np.datetime_as_string(times).tolist(), strict=True):
            days[place] = day
    return days


def rank_outings(
    outings: Sequence[Outing],
    searches: Mapping[str, MarkSearch],
    *,
    by: Grouping = "overall",
    diverse: bool = True,
    overlapping: bool = True,
    each: int | None = None,
) -> list[RankedOuting]:
    """Return outings in order of preference.

    An outing is worth the integral of its best score over its fishing; for a species, the integral of the best of the
    species' rules. With two marks it is in the group of both, with several species in that of each.

    Parameters
    ----------
    outings : sequence of Outing
        In any order.
    searches : mapping of str to MarkSearch
        What was found at the marks of the outings, by their keys.
    by : str
        ``"overall"``, or one list for each ``"mark"`` or ``"species"``, the one with the best outing first, or for
        each ``"day"``, in order of time.
    diverse : bool
        Whether an outing counts less beside those like it that are named before, see
        `tidecore.windows.diversity.diversified`.
    overlapping : bool
        Whether outings may overlap. If not, those stay that one angler can make one after the other: the best, then
        the best of those that leave time for it, and so on, over all groups.
    each : int, optional
        Most outings of a group.

    Raises
    ------
    UnknownName
        If there is no such grouping.
    """
    if by not in GROUPINGS:
        raise UnknownName("grouping", str(by), GROUPINGS)
    if not overlapping:
        order = _order(outings, searches, [one.score_hours for one in outings], diverse)
        best_first = [outings[k] for k in order]
        outings = [best_first[k] for k in without_overlaps(best_first)]
    groups: dict[str, list[tuple[Outing, float]]] = {}
    for one in outings:
        for group, worth in _groups(one, searches, by):
            groups.setdefault(group, []).append((one, worth))
    ranked = []
    for group in sorted(groups, key=lambda name: _place(name, groups[name], by)):
        members, worths = [one for one, _ in groups[group]], [worth for _, worth in groups[group]]
        for rank, k in enumerate(_order(members, searches, worths, diverse, each)[:each], start=1):
            ranked.append(RankedOuting(group, rank, worths[k], members[k]))
    return ranked


def _order(
    outings: Sequence[Outing],
    searches: Mapping[str, MarkSearch],
    worth: Sequence[float],
    diverse: bool,
    each: int | None = None,
) -> list[int]:
    """Return the places of outings in order, of those after the first ``each`` no matter how."""
    if not diverse:
        return ordered(outings, worth)
    return diversified(outings, worth, local_days(searches, outings), len(outings) if each is None else each)


def _groups(outing: Outing, searches: Mapping[str, MarkSearch], by: Grouping) -> list[tuple[str, float]]:
    """Return the groups of an outing and what it is worth in each."""
    if by == "mark":
        return [(mark, outing.score_hours) for mark in dict.fromkeys(outing.marks)]
    if by == "day":
        return [(local_day(searches[outing.marks[0]], outing), outing.score_hours)]
    if by == "species":
        return sorted(species_hours(outing, searches).items())
    return [("", outing.score_hours)]


def _place(group: str, members: Sequence[tuple[Outing, float]], by: Grouping) -> tuple[object, ...]:
    """Return by what a group is put in order among the others."""
    return (group,) if by == "day" else (-round(max(worth for _, worth in members), 9), group)


def species_hours(outing: Outing, searches: Mapping[str, MarkSearch]) -> dict[str, float]:
    """Return what an outing is worth for each species in it [h], by scientific name: by its best rule at each mark."""
    found: dict[str, float] = {}
    for leg in outing.legs:
        rules = {one.key: one.rule for one in searches[leg.mark].curves}
        here: dict[str, float] = {}
        for key, hours in leg.rule_hours:
            name = _species(rules[key])
            here[name] = max(hours, here.get(name, 0.0))
        for name, hours in here.items():
            found[name] = found.get(name, 0.0) + hours
    return found


def _species(rule: SpeciesRule) -> str:
    return rule.species.scientific_name
