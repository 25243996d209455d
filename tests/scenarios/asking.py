"""A card asked: what the engine answers, in one shape for windows and sessions."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.scenarios.cards import Card, LastChoice
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import explain, find_windows

_HOUR = np.timedelta64(1, "h")
_WORD = re.compile(r"[a-z0-9]+")


@dataclass(frozen=True)
class Offer:
    """One thing offered, in the order of preference: where, for what, when, and what it is worth."""

    marks: tuple[str, ...]
    rules: tuple[str, ...]
    start: np.datetime64
    end: np.datetime64
    best: tuple[np.datetime64, np.datetime64]
    worth: float
    limiting: str | None
    unknowns: frozenset[str]
    verdicts: dict[str, str]
    lulls: int
    said: tuple[str, ...]

    def touches(self, mark: str, rule: str, start: np.datetime64, end: np.datetime64) -> bool:
        """Whether a part of it is at this mark for this rule in this span."""
        return mark in self.marks and rule in self.rules and bool(self.start < end and self.end > start)


@dataclass(frozen=True)
class Answer:
    """What a card is answered: offers in order of preference, and what is said about them and the rest."""

    offers: tuple[Offer, ...]
    said: tuple[str, ...]

    def words(self) -> str:
        """Everything said, as plain words between single blanks."""
        texts = [*self.said, *(text for offer in self.offers for text in offer.said)]
        return " " + " ".join(_WORD.findall(" ".join(texts).lower())) + " "


def says(answer: Answer, words: str) -> bool:
    """Whether the answer says these words, as whole words in this order."""
    return f" {' '.join(_WORD.findall(words.lower()))} " in answer.words()


def timeline_of(card: Card, ref: str, start: np.datetime64, end: np.datetime64) -> Timeline:
    """Return the timeline of one mark of a card."""
    return build_timeline(card.mark(ref), card.tide.model(), start, end)


def windows_of(card: Card) -> Answer:
    """Return the windows that answer a card, the most of score and time first."""
    offers: list[Offer] = []
    said: list[str] = []
    for mark in card.marks:
        timeline = timeline_of(card, mark, *card.span)
        for name in card.rules:
            rule = card.rule(name)
            said += explain(rule, timeline).sentences
            for window in find_windows(rule, timeline):
                unknowns = frozenset(unknown.factor for unknown in window.unknowns)
                best = (window.best_hour.start, window.best_hour.end)
                reasons = tuple(unknown.reason for unknown in window.unknowns)
                offers.append(
                    Offer(
                        (mark,), (name,), window.start, window.end, best, window.score_hours,
                        window.limiting_factor, unknowns, {}, 0, reasons,
                    )
                )  # fmt: skip
    offers.sort(key=lambda offer: (-offer.worth, offer.start, offer.marks, offer.rules))
    return Answer(tuple(offers), tuple(said))


def stoppers(card: Card, last: LastChoice) -> dict[str, float]:
    """Return what stops the last choice where it would lie: each factor and the share of the time that it suits."""
    timeline = timeline_of(card, last.mark, *card.last_span)
    why = explain(card.rule(last.rule), timeline)
    found: dict[str, float] = {}
    for term in why.terms:
        share = 0.0 if term.factor in why.excluded_by else term.met_share
        found[term.factor] = min(share, found.get(term.factor, 1.0))
    return found


def overlap(one: tuple[Any, Any], other: tuple[Any, Any]) -> bool:
    """Whether two half-open spans meet."""
    return bool(one[0] < other[1] and other[0] < one[1])
