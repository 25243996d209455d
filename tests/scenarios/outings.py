"""The outings of a card assessed, and the answer held against what must be found of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.scenarios.asking import facts_of, timeline_of
from tests.scenarios.cards import Card
from tests.scenarios.danger import ExpectedHazard, ExpectedOuting
from tests.scenarios.moments import moment
from tidecore.safety import WEIGHT, Hazard, HazardReport, assess

#: What the engine calls what a card calls a danger.
ENGINE_KINDS: dict[str, tuple[str, ...]] = {
    "swell_on_ledge": ("waves_on_rock", "waves_on_wall"),
    "shore_break": ("shore_break",),
    "cut_off": ("cut_off", "water_behind"),
    "run_up": ("overwash",),
    "soft_mud": ("wading",),
    "thunder": ("thunder",),
    "visibility": ("visibility",),
    "official_warning": ("official_warning",),
    "cold_water": ("cold_water",),
    "alone": ("alone",),
    "first_visit": ("dark",),
    "bathers": ("bathers",),
    "overtopping": ("overtopping",),
    "wind_at_edge": ("wind",),
}
#: What it calls what a card wants named as not assessed.
UNASSESSED: dict[str, tuple[str, ...]] = {
    "sea": ("sea",),
    "run_up": ("ground", "overwash"),
    "way_back": ("cut_off",),
    "thunder": ("thunder",),
    "visibility": ("visibility",),
    "official_warning": ("official_warning",),
}
#: Grades of the engine by how grave a card takes them: what is not assessed is no less than a caution.
WEIGHTS = {"info": WEIGHT["info"], "caution": WEIGHT["caution"], "danger": WEIGHT["danger"]}


def report_of(card: Card, outing: ExpectedOuting) -> HazardReport:
    """Return what is found of an outing of a card."""
    timeline = timeline_of(card, outing.mark, *card.span)
    return assess(timeline, moment(outing.from_), moment(outing.to), facts=facts_of(card))


def of_kinds(report: HazardReport, kinds: Sequence[str]) -> list[Hazard]:
    """Return the hazards that a card calls by one of these kinds."""
    named = {name for kind in kinds for name in ENGINE_KINDS[kind]}
    return [one for one in report.hazards if one.kind in named]


def is_found(report: HazardReport, expected: ExpectedHazard) -> bool:
    """Whether a hazard is graded as gravely as a card expects, over all of the span that it expects it for."""
    grave = [one for one in of_kinds(report, expected.kinds) if WEIGHT[one.grade] >= WEIGHTS[expected.at_least]]
    known = [one for one in grave if one.grade != "not_assessed"]
    if expected.from_ is None or expected.to is None:
        return bool(known)
    minutes = np.arange(moment(expected.from_), moment(expected.to), np.timedelta64(1, "m"))
    covered = np.zeros(minutes.size, dtype=np.bool_)
    for one in known:
        covered |= (minutes >= one.start) & (minutes <= one.end)
    return bool(covered.all())


def told(report: HazardReport) -> list[str]:
    """Return a report in short, for whoever reads a failure."""
    return [f"{one.kind}: {one.grade} {str(one.start)[5:16]} to {str(one.end)[5:16]}" for one in report.hazards]
