"""Search for sessions: marks x rules over a span in free time, ranked; and two sessions beside each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from service.errors import DocumentInvalid
from service.security import Caller
from service.usecases.conditions import MarkConditions
from service.usecases.context import Context
from service.usecases.marks import MarkView, of_one_mark
from service.usecases.regulation_checks import RulesOnFile, rules_on_file
from service.usecases.safety_thresholds import ThresholdsView, read_thresholds
from service.usecases.searching import (
    Wanted,
    check_search_span,
    find_wanted,
    search_timeline,
    search_together,
    shared_sky,
    state_of,
)
from service.usecases.species_rules import RuleView
from service.usecases.stations import ServedModel
from tidecore.calendars import ClockChange, FreeTime, clock_changes
from tidecore.errors import Fault
from tidecore.filters import Filter
from tidecore.safety import Care, OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.timeline import Timeline
from tidecore.windows import (
    Comparison,
    MarkSearch,
    Outing,
    RankedOuting,
    Session,
    SessionOptions,
    compare_sessions,
    complete_all,
    explain_no_outings,
    find_double_outings,
    find_outings,
    rank_outings,
    search_mark,
    search_marks,
    session_at,
)
from tidecore.windows.ranking import Grouping

#: A session that is compared is looked at with so much time around it [days].
_AROUND_DAYS = 0.5


@dataclass(frozen=True, slots=True)
class Drive:
    """How long it takes from one mark to another, and back [min]."""

    one: str
    other: str
    minutes: float


@dataclass(frozen=True, slots=True)
class SessionQuestion:
    """What is asked of a search for sessions; ``travel`` is the way to marks [min], ``travel_min`` that to others."""

    span: TimeSpan
    mark_ids: Sequence[str] | None
    rule_ids: Sequence[str] | None
    options: SessionOptions
    free_time: FreeTime | None
    travel: Mapping[str, float]
    travel_min: float
    drives: Sequence[Drive]
    by: Grouping
    each: int | None
    diverse: bool
    overlapping: bool
    facts: OutingFacts
    include_dangerous: bool
    within: Filter | None = None


@dataclass(frozen=True, slots=True)
class WithoutSession:
    """A mark without a session, and why."""

    mark: MarkView
    reasons: Sequence[str]


@dataclass(frozen=True, slots=True)
class SessionResult:
    """What a search found, ranked, and what it rests on; `page` completes the sessions of one page."""

    question: SessionQuestion
    marks: Sequence[tuple[MarkView, ServedModel]]
    conditions: Mapping[str, MarkConditions]
    rules: Sequence[RuleView]
    searches: Mapping[str, MarkSearch]
    ranked: Sequence[RankedOuting]
    without: Sequence[WithoutSession]
    clock_changes: Sequence[tuple[str, ClockChange]]
    on_file: RulesOnFile

    def page(self, start: int, limit: int) -> list[tuple[RankedOuting, Session]]:
        """Return so many ranked outings from one place on, with the account of each."""
        some = self.ranked[start : start + limit]
        return list(zip(some, complete_all([one.outing for one in some], self.searches), strict=True))


@dataclass(frozen=True, slots=True)
class SessionBasis:
    """The marks and rules that a search is over, found before anything is computed."""

    question: SessionQuestion
    wanted: Wanted
    thresholds: ThresholdsView
    on_file: RulesOnFile

    @property
    def state(self) -> list[list[str]]:
        """All that the answer rests on, as plain values."""
        return [*state_of(self.wanted), self.thresholds.state, *self.on_file.state]


def find_session_basis(context: Context, caller: Caller, question: SessionQuestion) -> SessionBasis:
    """Return the marks and rules that a search is over; all of the account's where none are named.

    Raises
    ------
    NotFound, NoModel
        If a mark or rule is not there, or the station of a mark has no model yet.
    SpanTooLong, SearchTooLarge
        If the search exceeds the limits.
    DocumentInvalid
        If a way or a drive is to a mark that is not searched.
    """
    check_search_span(context, question.span)
    wanted = find_wanted(context, caller, question.mark_ids, question.rule_ids, max(1.0, question.span.days))
    known = {view.record.id for view, _ in wanted[0]}
    expected = "one of the marks that are searched"
    faults = [
        Fault(f"travel.{place}.mark_id", f"{ascii(mark)[:60]} is not searched", expected)
        for place, mark in enumerate(question.travel)
        if mark not in known
    ]
    for place, drive in enumerate(question.drives):
        for name, mark in (("from_mark_id", drive.one), ("to_mark_id", drive.other)):
            if mark not in known:
                faults.append(Fault(f"drives.{place}.{name}", f"{ascii(mark)[:60]} is not searched", expected))
    if faults:
        raise DocumentInvalid(faults)
    on_file = rules_on_file(context, caller, [view for view, _ in wanted[0]], wanted[1])
    return SessionBasis(question, wanted, read_thresholds(context, caller), on_file)


def search_sessions(basis: SessionBasis) -> SessionResult:
    """Return the sessions of rules at marks, ranked as asked."""
    question, (marks, rules, conditions) = basis.question, basis.wanted
    searches = _search_marks(basis)
    ways: dict[str, float] = {}
    outings: dict[str, list[Outing]] = {}
    without: list[WithoutSession] = []
    zones: dict[str, tuple[ClockChange, ...]] = {}
    for view, _ in marks:
        key = view.record.id
        ways[key] = question.travel.get(key, question.travel_min)
        free = searches[key].timeline.sources.free_us
        outings[key] = find_outings(searches[key], question.options, free, ways[key])
        if not outings[key]:
            reasons = explain_no_outings(searches[key], question.options, free, ways[key])
            without.append(WithoutSession(view, reasons))
        zones[view.document.time_zone] = clock_changes(view.document.zone, question.span)
    found = [one for some in outings.values() for one in some]
    found += _with_two_marks(question, searches, outings, ways)
    ranked = rank_outings(
        found,
        searches,
        by=question.by,
        diverse=question.diverse,
        overlapping=question.overlapping,
        each=question.each,
    )
    changes = [(zone, change) for zone in sorted(zones) for change in zones[zone]]
    return SessionResult(question, marks, conditions, rules, searches, ranked, without, changes, basis.on_file)


def _search_marks(basis: SessionBasis) -> Mapping[str, MarkSearch]:
    """Return what the rules find at each mark, by the ids of the marks."""
    question, (marks, rules, conditions) = basis.question, basis.wanted
    documents = {view.record.id: view.document for view in rules}
    facts = replace(question.facts, pack_up_min=question.options.pack_up_min)
    care = Care(basis.thresholds.thresholds, facts, question.include_dangerous)
    served = {view.record.id: one for view, one in marks}
    sky = shared_sky(question.span)

    def line(view: MarkView) -> Timeline:
        key = view.record.id
        return search_timeline(view, served[key], rules, question.span, sky, conditions[key], question.free_time)

    def search(lines: Mapping[str, Timeline]) -> dict[str, MarkSearch]:
        return search_marks(lines, documents, care, within=question.within)

    return search_together([view for view, _ in marks], line, search)[1]


def _with_two_marks(
    question: SessionQuestion,
    searches: Mapping[str, MarkSearch],
    outings: Mapping[str, list[Outing]],
    ways: Mapping[str, float],
) -> list[Outing]:
    """Return the outings to two marks, in both directions; a drive given one way alone is as long the other way."""
    minutes = {(drive.other, drive.one): drive.minutes for drive in question.drives}
    minutes |= {(drive.one, drive.other): drive.minutes for drive in question.drives}
    found = []
    for first, second in sorted(minutes):
        if first == second or first not in searches:
            continue
        found += find_double_outings(
            searches[first],
            searches[second],
            question.options,
            minutes[first, second],
            searches[first].timeline.sources.free_us,
            (ways[first], ways[second]),
            [*outings[first], *outings[second]],
        )
    return found


@dataclass(frozen=True, slots=True)
class SessionPlace:
    """A session that is to be compared: the mark and the span that is fished."""

    mark_id: str
    fishing: TimeSpan


def compare_two_sessions(
    context: Context,
    caller: Caller,
    places: tuple[SessionPlace, SessionPlace],
    rule_ids: Sequence[str] | None,
    options: SessionOptions,
    facts: OutingFacts,
) -> tuple[tuple[Session, Session], Comparison, RulesOnFile]:
    """Return two sessions in full, what sets them apart, and the rules on file; of all rules where none are named.

    Raises
    ------
    NotFound, NoModel
        If a mark or rule is not there, or the station of a mark has no model yet.
    SpanTooLong, SearchTooLarge
        If a session, or marks times rules, exceed the limits.
    """
    for place in places:
        check_search_span(context, place.fishing)
    days = sum(place.fishing.days + 2.0 * _AROUND_DAYS for place in places)
    served, rules, conditions = find_wanted(context, caller, [place.mark_id for place in places], rule_ids, days)
    by_id = {view.record.id: (view, model) for view, model in served}
    if not rules:
        raise DocumentInvalid(Fault("rule_ids", "the account has no species rules", "a rule to compare sessions by"))
    documents = {view.record.id: view.document for view in rules}
    care = Care(read_thresholds(context, caller).thresholds, replace(facts, pack_up_min=options.pack_up_min))
    found = []
    for place in places:
        view, model = by_id[place.mark_id]
        around = place.fishing.padded(_AROUND_DAYS)
        with of_one_mark(view):
            timeline = search_timeline(view, model, rules, around, shared_sky(around), conditions[place.mark_id])
            search = search_mark(place.mark_id, timeline, documents, care)
        found.append(session_at(search, place.fishing.start, place.fishing.end, options))
    on_file = rules_on_file(context, caller, [view for view, _ in served], rules)
    return (found[0], found[1]), compare_sessions(found[0], found[1]), on_file
