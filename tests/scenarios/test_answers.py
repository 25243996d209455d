"""Every card asked, and the answer held against what an old hand would say."""

from __future__ import annotations

from functools import cache

import pytest

from tests.scenarios.asking import Answer, answer_of, facts_of, known_from, overlap, says, stoppers, timeline_of
from tests.scenarios.cards import Card, Claim, cards
from tests.scenarios.moments import moment
from tests.scenarios.outings import of_kinds, told
from tidecore.safety import assess


@cache
def answered(ref: str) -> Answer:
    return answer_of(cards()[ref])


@pytest.fixture(params=sorted(cards()))
def ref(request):
    name: str = request.param
    return name


def test_the_first_choice_is_that_of_an_old_hand(ref):
    card, answer = cards()[ref], answered(ref)
    first = card.expect.first
    assert answer.offers, answer.said
    best = answer.offers[0]
    shown = [(o.marks, o.rules, str(o.start), str(o.end), round(o.worth, 2), o.limiting) for o in answer.offers[:4]]
    assert (first.mark in best.marks, first.rule in best.rules) == (True, True), shown
    assert overlap(best.best, card.first_span), shown
    if first.holds is not None:
        start, end = map(moment, first.holds)
        assert best.start <= start, shown
        assert best.end >= end, shown
    if first.legs:
        assert best.marks == first.legs, shown
    if first.lulls is not None:
        assert best.lulls == first.lulls, shown


def test_the_last_choice_is_stopped_by_what_would_stop_him(ref):
    card, answer = cards()[ref], answered(ref)
    last = card.expect.last
    there = [offer for offer in answer.offers if offer.touches(last.mark, last.rule, *card.last_span)]
    shown = [(str(offer.start), str(offer.end), round(offer.worth, 2), offer.verdicts) for offer in there]
    if last.outcome == "not_offered":
        assert not there, shown
    if last.outcome == "clearly_less":
        assert all(offer.worth <= 0.8 * answer.offers[0].worth for offer in there), shown
    if last.outcome == "unfishable":
        assert all(offer.verdicts["fishable"] in last.fishable for offer in there), shown
    if last.outcome == "dangerous":
        assert all(offer.verdicts["safe"] == "danger" for offer in there), shown
        return
    if last.outcome == "unassessed":
        assert all(set(last.stopped_by) & offer.unknowns for offer in there), shown
        return
    found = stoppers(card, last)
    named = [factor for factor in last.stopped_by if found.get(factor, 1.0) < 0.5]
    assert named, found


def holds(card: Card, answer: Answer, claim: Claim) -> bool:
    """Whether an answer makes a claim."""
    if claim.words is not None or claim.say is not None:
        return says(answer, claim.words or claim.say or "")
    if claim.unknown is not None:
        return claim.unknown in answer.offers[0].unknowns
    if claim.limiting is not None:
        return answer.offers[0].limiting == claim.limiting
    if claim.first_at is not None:
        return claim.first_at in answer.offers[0].marks
    if claim.answers_more_than is not None:
        return len(answer.offers) > claim.answers_more_than
    if claim.offer is not None:
        span = moment(claim.offer["from"]), moment(claim.offer["to"])
        return any(offer.touches(claim.offer["mark"], claim.offer["rule"], *span) for offer in answer.offers)
    if claim.known_after is not None:
        timeline = timeline_of(card, claim.known_after["mark"], *card.span)
        return known_from(timeline, claim.known_after["factor"], claim.known_after["from"])
    assert claim.verdict is not None
    return any(offer.verdicts.get(claim.verdict) in claim.values for offer in answer.offers)


def test_what_must_be_said_is_said_and_what_must_not_is_not(ref):
    card, answer = cards()[ref], answered(ref)
    for claim in card.expect.must_say:
        assert holds(card, answer, claim), (claim, answer.words())
    for claim in card.expect.must_not:
        assert not holds(card, answer, claim), (claim, answer.words())


DANGEROUS = sorted(ref for ref, card in cards().items() if card.expect.last.outcome == "dangerous")


@pytest.mark.parametrize("dangerous", DANGEROUS)
def test_what_is_dangerous_is_shown_to_who_asks_for_it_and_stays_marked(dangerous):
    card = cards()[dangerous]
    last = card.expect.last
    offers = answer_of(card, include_dangerous=True).offers
    there = [offer for offer in offers if offer.touches(last.mark, last.rule, *card.last_span)]
    assert there
    assert all(offer.verdicts["safe"] == "danger" for offer in there), [offer.verdicts for offer in there]


@pytest.mark.parametrize("dangerous", DANGEROUS)
def test_the_last_choice_is_a_danger_of_the_kind_that_the_card_names(dangerous):
    card = cards()[dangerous]
    last = card.expect.last
    report = assess(timeline_of(card, last.mark, *card.span), *card.last_span, facts=facts_of(card))
    found = [one for one in of_kinds(report, last.stopped_by) if one.grade == "danger"]
    assert found, told(report)
