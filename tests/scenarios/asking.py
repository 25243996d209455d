"""A card asked: what the engine answers, in one shape for windows and sessions."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.scenarios.cards import Card, LastChoice
from tests.scenarios.moments import moment
from tidecore.calendars import FreeTime
from tidecore.safety import Care, OutingFacts, assess
from tidecore.timebase import TimeSpan, instant
from tidecore.timeline import Timeline, build_timeline
from tidecore.units import IntArray
from tidecore.windows import (
    MarkSearch,
    Session,
    SessionOptions,
    complete,
    explain,
    find_double_outings,
    find_outings,
    find_windows,
    rank_outings,
    search_mark,
)

Moment = np.datetime64
_WORD = re.compile(r"[a-z0-9]+")
#: Why a mark does not fish, or is shut: factors, and their values that stop nobody.
_OPEN: dict[str, tuple[str, ...]] = {
    "fishable": ("yes",),
    "surf": ("fishable",),
    "weed": ("none", "odd_strand", "low"),
    "holding": ("holds",),
    "access_open": ("1",),
}
_UNKNOWN = ("", "-1")


@dataclass(frozen=True)
class Stay:
    """A part of an offer in which one rule holds at one mark."""

    mark: str
    rule: str
    start: Moment
    end: Moment


@dataclass(frozen=True)
class Offer:
    """One thing offered, in the order of preference: where, for what, when, and what it is worth."""

    marks: tuple[str, ...]
    stays: tuple[Stay, ...]
    start: Moment
    end: Moment
    best: tuple[Moment, Moment]
    worth: float
    limiting: str | None
    unknowns: frozenset[str]
    verdicts: dict[str, str]
    lulls: int
    said: tuple[str, ...]

    @property
    def rules(self) -> frozenset[str]:
        """The rules that hold in it."""
        return frozenset(stay.rule for stay in self.stays)

    def touches(self, mark: str, rule: str, start: Moment, end: Moment) -> bool:
        """Whether the rule holds at the mark in a part of it that lies in this span."""
        return any(
            stay.mark == mark and stay.rule == rule and stay.start < end and stay.end > start for stay in self.stays
        )


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


def overlap(one: tuple[Moment, Moment], other: tuple[Moment, Moment]) -> bool:
    """Whether two half-open spans meet."""
    return bool(one[0] < other[1] and other[0] < one[1])


def facts_of(card: Card) -> OutingFacts:
    """Return what whoever asks says of himself."""
    return OutingFacts(alone=card.ask.alone, first_visit=card.ask.first_visit)


def answer_of(card: Card, include_dangerous: bool = False) -> Answer:
    """Return what a card is answered, with what is dangerous if that is asked for."""
    care = Care(facts=facts_of(card), include_dangerous=include_dangerous)
    return sessions_of(card, care) if card.ask.as_ == "sessions" else windows_of(card, care)


def timeline_of(card: Card, ref: str, start: Moment, end: Moment) -> Timeline:
    """Return the timeline of one mark of a card, the same for all who ask."""
    key = (ref, str(start), str(end))
    if key not in card.kept:
        card.kept[key] = build_timeline(card.mark(ref), card.tide.model, start, end, conditions=card.conditions_at(ref))
    found: Timeline = card.kept[key]
    return found


def explanations(card: Card, care: Care) -> list[str]:
    """Return what is said of every rule at every mark, of the forecasts they rest on, and of what is left out."""
    said: list[str] = []
    span = TimeSpan(*card.span)
    for mark in card.marks:
        conditions = card.conditions_at(mark)
        if conditions is not None:
            said += conditions.sentences(span)
        timeline = timeline_of(card, mark, *card.span)
        for name in card.rules:
            said += explain(card.rule(name), timeline).sentences
        said += care.said(timeline)
    for outing in card.expect.outings:
        timeline = timeline_of(card, outing.mark, *card.span)
        said += assess(timeline, moment(outing.from_), moment(outing.to), care.thresholds, care.facts).sentences
    return said


def windows_of(card: Card, care: Care) -> Answer:
    """Return the windows that answer a card, the most of score and time first."""
    offers: list[Offer] = []
    for mark in card.marks:
        timeline = timeline_of(card, mark, *card.span)
        for name in card.rules:
            for window in find_windows(card.rule(name), timeline, care=care):
                hazards = care.stay(timeline, window.start, window.end)
                offers.append(
                    Offer(
                        marks=(mark,),
                        stays=(Stay(mark, name, window.start, window.end),),
                        start=window.start,
                        end=window.end,
                        best=(window.best_hour.start, window.best_hour.end),
                        worth=window.score_hours,
                        limiting=window.limiting_factor,
                        unknowns=frozenset(unknown.factor for unknown in window.unknowns),
                        verdicts={"safe": hazards.grade},
                        lulls=0,
                        said=(*(unknown.reason for unknown in window.unknowns), *hazards.sentences),
                    )
                )
    offers.sort(key=lambda offer: (-offer.worth, offer.start, offer.marks))
    return Answer(tuple(offers), tuple(explanations(card, care)))


def free_spans(card: Card, ref: str) -> IntArray | None:
    """Return the free hours of a card at a mark, None where all of the span is free."""
    if not card.ask.free:
        return None
    weekly = [{"weekdays": list(one.weekdays), "hours": {"from": one.from_, "to": one.to}} for one in card.ask.free]
    return FreeTime.parse({"weekly": weekly}).spans(card.mark(ref).zone, TimeSpan(*card.span))


def sessions_of(card: Card, care: Care) -> Answer:
    """Return the sessions that answer a card, in the order in which they are ranked over all."""
    options = SessionOptions()
    rules = {name: card.rule(name) for name in card.rules}
    searches = {ref: search_mark(ref, timeline_of(card, ref, *card.span), rules, care) for ref in card.marks}
    travel = card.ask.travel_min
    outings = [
        one for ref, search in searches.items() for one in find_outings(search, options, free_spans(card, ref), travel)
    ]
    if card.ask.two_marks:
        single = tuple(outings)
        for first in searches.values():
            for second in searches.values():
                if first is not second:
                    free = free_spans(card, first.key)
                    outings += find_double_outings(
                        first, second, options, card.ask.between_min, free, (travel, travel), single
                    )
    ranked = rank_outings(outings, searches, by="overall")
    offers = tuple(_offer(complete(one.outing, searches), one.worth_h, searches) for one in ranked)
    return Answer(offers, tuple(explanations(card, care)))


def _offer(session: Session, worth: float, searches: dict[str, MarkSearch]) -> Offer:
    verdicts = session.verdicts
    return Offer(
        marks=tuple(leg.key for leg in session.legs),
        stays=tuple(
            Stay(leg.key, window.rule, window.start, window.end) for leg in session.legs for window in leg.windows
        ),
        start=session.legs[0].start,
        end=session.legs[-1].end,
        best=(session.best_hour.start, session.best_hour.end),
        worth=worth,
        limiting=verdicts.feeding.limiting_factor,
        unknowns=frozenset(one.factor for leg in session.legs for rule in leg.rules for one in rule.unknowns),
        verdicts={"safe": verdicts.safe.grade, "fishable": verdicts.fishable.grade},
        lulls=sum(len(leg.lulls) for leg in session.legs),
        said=(*session.reasons, *session.clock_changes, *verdicts.safe.reasons, *verdicts.fishable.reasons),
    )


def stoppers(card: Card, last: LastChoice) -> dict[str, float]:
    """Return what stops the last choice where it would lie: each factor and the share of the time that it suits."""
    timeline = timeline_of(card, last.mark, *card.last_span)
    why = explain(card.rule(last.rule), timeline)
    found: dict[str, float] = {}
    for term in why.terms:
        share = 0.0 if term.factor in why.excluded_by else term.met_share
        found[term.factor] = min(share, found.get(term.factor, 1.0))
    return found | _shore(timeline, tuple(_OPEN))


def _shore(timeline: Timeline, names: Sequence[str]) -> dict[str, float]:
    """Return for what share of the time each factor of the mark itself stops nobody; what is unknown stops nobody."""
    columns = timeline.at(timeline.grid.times_us(), names)
    open_to_all = {name: (*_OPEN[name], *_UNKNOWN) for name in names}
    return {name: float(np.mean(np.isin(columns[name].astype(np.str_), open_to_all[name]))) for name in names}


def known_from(timeline: Timeline, factor: str, start: str) -> bool:
    """Return whether a factor is known at any time from ``start`` to the end of a timeline."""
    after = timeline.times >= instant(start.removesuffix("Z"), "start")
    column = timeline.at(timeline.grid.times_us()[after], (factor,))[factor]
    return bool((column.astype(np.str_) != "").any() and (column.astype(np.str_) != "nan").any())
