"""What a rule on file says of something: findings, their verdicts, and the words that every one has."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tidecore.catchlog.regulations import Regulation

Verdict = Literal[
    "breach", "within_measuring_error", "cannot_compare", "no_rule_on_file", "stale", "release_only", "in_order"
]
Matter = Literal["size", "bag", "season", "hours", "rods", "hooks", "permit", "gathering", "species", "area"]

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
    verdict. ``rule`` is the rule itself, None where there is none.
    """

    verdict: Verdict
    matter: Matter
    text: str
    source: str = ""
    dated: str = ""
    stale: bool = False
    catches: tuple[int, ...] = ()
    rule: Regulation | None = None


def worst(findings: Sequence[Finding]) -> Verdict:
    """Return the verdict of a whole: the worst of its findings; without any there is no rule on file."""
    return min((one.verdict for one in findings), key=WORST_FIRST.index, default="no_rule_on_file")


def finding_of(
    verdict: Verdict, matter: Matter, text: str, rule: Regulation, day: datetime.date, catches: tuple[int, ...] = ()
) -> Finding:
    """Return what a rule says of a day, with the words every finding has; a rule from after that day tells nothing."""
    stale = rule.stale_on(day)
    if stale:
        text = f"{text} The rule is over 12 months old."
        verdict = "stale" if verdict == "in_order" else verdict
    elif datetime.date.fromisoformat(rule.dated) > day:
        text = f"{text} But the rule is dated after that day: what held then is not told."
        verdict = "cannot_compare"
    said = f"{text} By {rule.source}, {rule.dated}. {CHECK}"
    return Finding(verdict, matter, said, rule.source, rule.dated, stale, catches, rule)


def none_on_file(matter: Matter, name: str, what: str, catches: tuple[int, ...] = ()) -> Finding:
    """Return that there is no rule of a matter."""
    text = f"{name}: no {what} on file: don't assume it may be kept. {CHECK}"
    return Finding("no_rule_on_file", matter, text, catches=catches)


def areas_on_file(areas: Sequence[str], rules: Sequence[Regulation]) -> tuple[Finding, ...]:
    """Return what is not on file of a place: a finding for each of its areas without a rule, one where it has none."""
    if not areas:
        text = f"It is not told which regulations hold here: don't assume that there are none. {CHECK}"
        return (Finding("no_rule_on_file", "area", text),)
    known = {rule.area for rule in rules}
    return tuple(
        Finding("no_rule_on_file", "area", f"No rule of {area} on file: don't assume that there is none. {CHECK}")
        for area in dict.fromkeys(areas)
        if area not in known
    )
