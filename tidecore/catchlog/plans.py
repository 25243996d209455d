"""What the rules on file say of a plan: who may fish for what, where, when, and with what."""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterator, Sequence

import numpy as np

from tidecore.calendars import clipped, spans
from tidecore.catchlog.diary import days_of
from tidecore.catchlog.findings import CHECK, Finding, Matter, finding_of, none_on_file
from tidecore.catchlog.regulations import ClosedHours, Regulation
from tidecore.rules import Species
from tidecore.timebase import TimeSpan, from_microseconds


def judge_plan(
    span: TimeSpan,
    regulations: Sequence[Regulation],
    zone: zoneinfo.ZoneInfo,
    *,
    species: Sequence[Species] = (),
    rods: int | None = None,
    hooks: int | None = None,
    permits: Sequence[str] | None = None,
    gathering: bool = False,
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
    gathering : bool
        Whether bait is gathered: what the rules say of it is quoted, and never held against anything.

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
            found.append(none_on_file("species", one.scientific_name, "rule"))
        found += [_season(one, rule, days) for rule in its]
    concerned = [rule for rule in regulations if rule.species is None or any(rule.concerns(one) for one in species)]
    if not any(rule.species is None for rule in regulations):
        text = f"No rule on file of hours, rods, hooks or permits here: don't assume that there is none. {CHECK}"
        found.append(Finding("no_rule_on_file", "hours", text))
    for rule in concerned:
        found += [_hours(closed, rule, span, zone, first) for closed in rule.no_fishing]
        found += _tackle(rule, rods, hooks, permits, first)
    if gathering:
        found += _gathering(concerned, first)
    return tuple(found)


def _season(species: Species, rule: Regulation, days: Sequence[datetime.date]) -> Finding:
    closed = {rule.closed_on(day) for day in days}
    name = species.scientific_name
    if "banned" in closed:
        return finding_of("breach", "season", f"{name}: may not be fished for then.", rule, days[0])
    if "release_only" in closed:
        return finding_of("release_only", "season", f"{name}: what is caught goes back.", rule, days[0])
    if rule.release_only or rule.banned:
        return finding_of("in_order", "season", f"{name}: the season is open by the rule on file.", rule, days[0])
    text = f"{name}: the rule on file names no season: don't assume that there is none."
    return finding_of("no_rule_on_file", "season", text, rule, days[0])


def _hours(
    closed: ClosedHours, rule: Regulation, span: TimeSpan, zone: zoneinfo.ZoneInfo, day: datetime.date
) -> Finding:
    if closed.when is None:
        return finding_of("breach", "hours", f"No fishing in {closed.zone}, at any time.", rule, day)
    around = span.padded(2.0)
    inside = clipped(spans(closed.when, zone, around), span.start_us, span.end_us)
    if len(inside):
        at = str(from_microseconds(int(inside[0, 0])).astype("datetime64[m]"))
        return finding_of("breach", "hours", f"No fishing in {closed.zone} from {at}Z on.", rule, day)
    return finding_of("in_order", "hours", f"Hours of {closed.zone}: in order by the rule on file.", rule, day)


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
            yield finding_of("cannot_compare", matter, f"At most {most} {matter}; how many is not told.", rule, day)
        elif given > most:
            yield finding_of("breach", matter, f"{given} {matter}, at most {most} by the rule.", rule, day)
        else:
            yield finding_of("in_order", matter, f"{given} {matter}: in order by the rule on file.", rule, day)
    if rule.permit is not None:
        if permits is None:
            text = f"A permit is needed ({rule.permit}); whether it is held is not told."
            yield finding_of("cannot_compare", "permit", text, rule, day)
        elif rule.permit in permits:
            yield finding_of("in_order", "permit", f"Permit {rule.permit}: held, by what is told.", rule, day)
        else:
            yield finding_of("breach", "permit", f"A permit is needed ({rule.permit}) and not held.", rule, day)


def _gathering(rules: Sequence[Regulation], day: datetime.date) -> Iterator[Finding]:
    told = [rule for rule in rules if rule.gathering]
    for rule in told:
        yield finding_of("cannot_compare", "gathering", f"Gathering: {rule.gathering.rstrip('.')}.", rule, day)
    if not told:
        text = f"No rule on file of gathering here: don't assume that there is none. {CHECK}"
        yield Finding("no_rule_on_file", "gathering", text)
