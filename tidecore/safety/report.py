"""What an assessment of an outing says: hazards, each with its grade, value, threshold and source, and their sum."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

Grade = Literal["info", "caution", "danger", "not_assessed"]
#: How much each grade weighs: what is not assessed counts as a caution.
WEIGHT: dict[Grade, int] = {"info": 0, "caution": 1, "not_assessed": 1, "danger": 2}
#: The order in which hazards are told, and in which one grade stands for several.
_TOLD: dict[Grade, int] = {"danger": 0, "caution": 1, "not_assessed": 2, "info": 3}

#: What every assessment ends with.
DEFERS = (
    "Not for navigation: tide, run-up and weather are estimates, and what is not named here may be there all the same. "
    "Look for yourself, and follow the coastguard, official warnings, byelaws and licensed advice."
)


# A tuple is made in a fifth of the time of a frozen dataclass, and a plan tells hundreds a mark.
class Hazard(NamedTuple):
    """One hazard, from ``start`` to ``end`` [UTC].

    ``value`` is the worst of the time, None where there is none; ``threshold`` what it was held against, None where
    it was held against none; ``unit`` of both. ``source`` says where threshold and value come from.
    ``turn_back`` is when turning back is due, where the hazard is of that.
    """

    kind: str
    grade: Grade
    start: np.datetime64
    end: np.datetime64
    value: float | None
    unit: str
    threshold: float | None
    source: str
    text: str
    turn_back: np.datetime64 | None = None


@dataclass(frozen=True, slots=True)
class HazardReport:
    """What is known against an outing, from walking in to walking out; that it is safe is never said.

    Parameters
    ----------
    hazards : tuple of Hazard
        The gravest first, then by time.
    grade : str
        ``"danger"`` or ``"caution"`` as soon as one hazard is; ``"not_assessed"`` where something that matters is not,
        and nothing worse is known; ``"info"`` else. What is not assessed counts as a caution.
    not_assessed : tuple of str
        The kinds that are not assessed for a part of the outing or all of it.
    changed_thresholds, loosened : tuple of str
        The thresholds that the account has changed, and which of them are looser than the defaults.
    sentences : tuple of str
        The same for a reader.
    """

    hazards: tuple[Hazard, ...]
    grade: Grade
    not_assessed: tuple[str, ...]
    changed_thresholds: tuple[str, ...]
    loosened: tuple[str, ...]
    sentences: tuple[str, ...]

    @property
    def weight(self) -> int:
        """How much the grade weighs: 0 info, 1 caution or not assessed, 2 danger."""
        return WEIGHT[self.grade]


def report_of(hazards: Iterable[Hazard], changed: tuple[str, ...], loosened: Mapping[str, str]) -> HazardReport:
    """Return the report of some hazards; ``loosened`` are thresholds, and what is said of each."""
    # Datetimes compare ten times as fast as datetime64s.
    told = sorted(hazards, key=lambda one: (_TOLD[one.grade], one.start.item(), one.kind, one.end.item()))
    grade: Grade = told[0].grade if told else "info"
    missing = tuple(dict.fromkeys(one.kind for one in told if one.grade == "not_assessed"))
    sentences = (*dict.fromkeys(one.text for one in told), *loosened.values(), DEFERS)
    return HazardReport(tuple(told), grade, missing, changed, tuple(loosened), sentences)


def joined(reports: Iterable[HazardReport]) -> HazardReport:
    """Return the reports of several stays of one outing as one."""
    each = list(reports)
    both = report_of((one for report in each for one in report.hazards), each[0].changed_thresholds, {})
    said = dict.fromkeys(text for report in each for text in report.sentences if text != DEFERS)
    return HazardReport(
        both.hazards,
        both.grade,
        both.not_assessed,
        both.changed_thresholds,
        each[0].loosened,
        (*said, DEFERS),
    )
