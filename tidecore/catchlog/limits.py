"""What the rules on file say of catches and of plans. Silence of the file never means that something may be done."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.calendars import clipped, spans
from tidecore.catchlog.diary import days_of
from tidecore.catchlog.moments import ticks
from tidecore.catchlog.regulations import ClosedHours, Regulation, SizeLimit
from tidecore.catchlog.sizes import Length, same_species
from tidecore.catchlog.trip import Catch
from tidecore.errors import Fault, InvalidInput
from tidecore.rules import Species
from tidecore.timebase import US_PER_MINUTE, TimeSpan, from_microseconds

Verdict = Literal[
    "breach", "within_measuring_error", "cannot_compare", "no_rule_on_file", "stale", "release_only", "in_order"
]
Matter = Literal["size", "bag", "season", "hours", "rods", "hooks", "permit", "species"]

#: Least measuring error of a length on the shore [cm]; common practice.
MEASURING_ERROR_CM = 1.0
#: What every finding ends with.
CHECK = "Check the authority."
#: Verdicts from the worst on; that of a whole is the worst of its findings.
WORST_FIRST: tuple[Verdict, ...] = (
    "breach", "within_measuring_error", "cannot_compare", "no_rule_on_file", "stale", "release_only", "in_order",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """What one rule on file says of one matter.

    ``catches`` are the places, in the list given, of those it speaks of. ``source`` and ``dated`` are of the rule,
    empty where there is none. ``stale``: the rule is over 12 months old; where it would be in order, that is the
    verdict.
    """

    verdict: Verdict
    matter: Matter
    text: str
    source: str = ""
    dated: str = ""
    stale: bool = False
    catches: tuple[int, ...] = ()


def worst(findings: Sequence[Finding]) -> Verdict:
    """Return the verdict of a whole: the worst of its findings; without any there is no rule on file."""
    return min((one.verdict for one in findings), key=WORST_FIRST.index, default="no_rule_on_file")


def judge_catches(
    catches: Sequence[Catch], regulations: Sequence[Regulation], zone: zoneinfo.ZoneInfo, anglers: int = 1
) -> tuple[Finding, ...]:
    """Return what the rules on file say of what was kept.

    Parameters
    ----------
    catches : sequence of Catch
        Of all days concerned, else a bag is counted short. Those returned are not judged.
    regulations : sequence of Regulation
        Those on file for the place.
    zone : ZoneInfo
        By whose clocks a day is counted.
    anglers : int
        How many share the catches, at least 1.

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
    found += _bags(kept, regulations, days, anglers)
    return tuple(found)


def _days(catch: Catch, zone: zoneinfo.ZoneInfo) -> tuple[datetime.date, ...]:
    """Return the local day of a catch; two where its time is too unsure to tell."""
    at, slack = ticks(catch.at), catch.precision_min * US_PER_MINUTE
    return tuple(dict.fromkeys(days_of(np.array([at - slack, at + slack], dtype=np.int64), zone)))


def _finding(
    verdict: Verdict, matter: Matter, text: str, rule: Regulation, day: datetime.date, catches: tuple[int, ...] = ()
) -> Finding:
    """Return a finding with the words every one has."""
    stale = rule.stale_on(day)
    if stale:
        text = f"{text} The rule is over 12 months old."
        verdict = "stale" if verdict == "in_order" else verdict
    said = f"{text} By {rule.source}, {rule.dated}. {CHECK}"
    return Finding(verdict, matter, said, rule.source, rule.dated, stale, catches)


def _none(matter: Matter, name: str, what: str, catches: tuple[int, ...] = ()) -> Finding:
    text = f"{name}: no {what} on file: don't assume it may be kept. {CHECK}"
    return Finding("no_rule_on_file", matter, text, catches=catches)


def _of_one(
    place: int, catch: Catch, rules: Sequence[Regulation], days: tuple[datetime.date, ...]
) -> Iterator[Finding]:
    name, at = catch.species.scientific_name, (place,)
    if not rules:
        yield _none("species", name, "rule", at)
        return
    for rule in rules:
        closed = [rule.closed_on(day) for day in days]
        if all(closed):
            text = f"{name}: kept while it is {str(closed[0]).replace('_', ' ')}."
            yield _finding("breach", "season", text, rule, days[0], at)
        elif any(closed):
            text = f"{name}: the time is too unsure to tell whether the season was open."
            yield _finding("cannot_compare", "season", text, rule, days[0], at)
        elif rule.release_only or rule.banned:
            yield _finding("in_order", "season", f"{name}: the season is open by the rule on file.", rule, days[0], at)
    sized = [rule for rule in rules if rule.sizes]
    for rule in sized:
        verdict, text = _size(catch.length, rule.sizes)
        yield _finding(verdict, "size", f"{name}: {text}", rule, days[0], at)
    if not sized:
        yield _none("size", name, "size", at)


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
            yield _none("bag", catch.species.scientific_name, "bag", tuple(mine))
        for rule in bagged:
            for day in sorted({day for place in mine for day in days[place]}):
                yield _bag(
                    catch.species, rule, day, [(place, days[place]) for place in mine if day in days[place]], anglers
                )


def _bag(
    species: Species,
    rule: Regulation,
    day: datetime.date,
    places: Sequence[tuple[int, tuple[datetime.date, ...]]],
    anglers: int,
) -> Finding:
    """Return what a bag says of one local day."""
    bag = rule.bag or 0
    verdict: Verdict
    most, certain = len(places), sum(len(days) == 1 for _, days in places)
    shown = f"{species.scientific_name}: {most} kept on {day.isoformat()}"
    if certain > bag * anglers:
        verdict, text = "breach", f"{shown}, the bag is {bag} an angler."
    elif most > bag * anglers:
        verdict, text = "cannot_compare", f"{shown} or the day beside it, the bag is {bag} an angler: times too unsure."
    elif most > bag:
        verdict = "cannot_compare"
        text = f"{shown} by {anglers} anglers, the bag is {bag} each: whose they are is not told."
    else:
        verdict, text = "in_order", f"{shown}: bag of {bag} in order by the rule on file."
    return _finding(verdict, "bag", text, rule, day, tuple(place for place, _ in places))


def judge_plan(
    span: TimeSpan,
    regulations: Sequence[Regulation],
    zone: zoneinfo.ZoneInfo,
    *,
    species: Sequence[Species] = (),
    rods: int | None = None,
    hooks: int | None = None,
    permits: Sequence[str] | None = None,
) -> tuple[Finding, ...]:
    """Return what the rules on file say of fishing over a span.

    Parameters
    ----------
    span : TimeSpan
        From the first cast to the last.
    regulations : sequence of Regulation
        Those on file for the place.
    zone : ZoneInfo
        By whose clocks seasons and hours are.
    species : sequence of Species
        What is fished for.
    rods, hooks : int, optional
        How many an angler uses; None where it is not told.
    permits : sequence of str, optional
        Those held, by the name the rule has; None where it is not told.

    Returns
    -------
    tuple of Finding
        One at least for every species and every matter that a rule is about.
    """
    first, last = days_of(np.array([span.start_us, span.end_us - 1], dtype=np.int64), zone)
    days = [first + datetime.timedelta(days=k) for k in range((last - first).days + 1)]
    found: list[Finding] = []
    for one in species:
        its = [rule for rule in regulations if rule.concerns(one)]
        if not its:
            found.append(_none("species", one.scientific_name, "rule"))
        found += [_season(one, rule, days) for rule in its]
    concerned = [rule for rule in regulations if rule.species is None or any(rule.concerns(one) for one in species)]
    if not any(rule.species is None for rule in regulations):
        text = f"No rule on file of hours, rods, hooks or permits here: don't assume that there is none. {CHECK}"
        found.append(Finding("no_rule_on_file", "hours", text))
    for rule in concerned:
        found += [_hours(closed, rule, span, zone, first) for closed in rule.no_fishing]
        found += _tackle(rule, rods, hooks, permits, first)
    return tuple(found)


def _season(species: Species, rule: Regulation, days: Sequence[datetime.date]) -> Finding:
    closed = {rule.closed_on(day) for day in days}
    name = species.scientific_name
    if "banned" in closed:
        return _finding("breach", "season", f"{name}: may not be fished for then.", rule, days[0])
    if "release_only" in closed:
        return _finding("release_only", "season", f"{name}: what is caught goes back.", rule, days[0])
    if rule.release_only or rule.banned:
        return _finding("in_order", "season", f"{name}: the season is open by the rule on file.", rule, days[0])
    text = f"{name}: the rule on file names no season: don't assume that there is none."
    return _finding("no_rule_on_file", "season", text, rule, days[0])


def _hours(
    closed: ClosedHours, rule: Regulation, span: TimeSpan, zone: zoneinfo.ZoneInfo, day: datetime.date
) -> Finding:
    if closed.when is None:
        return _finding("breach", "hours", f"No fishing in {closed.zone}, at any time.", rule, day)
    around = span.padded(2.0)
    inside = clipped(spans(closed.when, zone, around), span.start_us, span.end_us)
    if len(inside):
        at = str(from_microseconds(int(inside[0, 0])).astype("datetime64[m]"))
        return _finding("breach", "hours", f"No fishing in {closed.zone} from {at}Z on.", rule, day)
    return _finding("in_order", "hours", f"Hours of {closed.zone}: in order by the rule on file.", rule, day)


def _tackle(
    rule: Regulation, rods: int | None, hooks: int | None, permits: Sequence[str] | None, day: datetime.date
) -> Iterator[Finding]:
    counted: tuple[tuple[Matter, int | None, int | None], ...] = (
        ("rods", rule.most_rods, rods),
        ("hooks", rule.most_hooks, hooks),
    )
    for matter, most, given in counted:
        if most is None:
            continue
        if given is None:
            yield _finding("cannot_compare", matter, f"At most {most} {matter}; how many is not told.", rule, day)
        elif given > most:
            yield _finding("breach", matter, f"{given} {matter}, at most {most} by the rule.", rule, day)
        else:
            yield _finding("in_order", matter, f"{given} {matter}: in order by the rule on file.", rule, day)
    if rule.permit is not None:
        if permits is None:
            text = f"A permit is needed ({rule.permit}); whether it is held is not told."
            yield _finding("cannot_compare", "permit", text, rule, day)
        elif rule.permit in permits:
            yield _finding("in_order", "permit", f"Permit {rule.permit}: held, by what is told.", rule, day)
        else:
            yield _finding("breach", "permit", f"A permit is needed ({rule.permit}) and not held.", rule, day)
