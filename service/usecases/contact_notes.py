"""A note for whoever stays at home, and alarms for turning back and being overdue."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from service.errors import DocumentInvalid
from service.exports.contact_note import BackKind, ContactFacts, contact_note
from service.exports.icalendar import Alarm, alarm_calendar
from service.exports.series import Export
from service.security import Caller
from service.usecases.context import Context
from service.usecases.outings import OutingBasis, find_outing
from service.usecases.safety_thresholds import read_thresholds
from tidecore.errors import Fault
from tidecore.safety import OutingFacts
from tidecore.shore import TurnBack
from tidecore.timebase import TimeSpan
from tidecore.timeline.peg_plans import turning_back
from tidecore.timeline.surge import surge_unsure

#: One is overdue so long after one meant to be home [min]. Common practice.
OVERDUE_MIN = 60
#: The alarm of turning back rings so long before it too [min].
_WARNED_MIN = 15


@dataclass(frozen=True, slots=True)
class ContactQuestion:
    """What whoever goes says of the outing."""

    mark_id: str
    span: TimeSpan
    back_home: datetime
    who: str
    how_many: int
    parking: str
    emergency_number: str
    surge_m: float | None
    pace: float = 1.0


@dataclass(frozen=True, slots=True)
class ContactNote:
    """A note, and what it rests on; ``not_assessed`` says what is not known of the way back."""

    question: ContactQuestion
    basis: OutingBasis
    turn_back: TurnBack | None
    not_assessed: tuple[str, ...]
    facts: ContactFacts
    text: str

    @property
    def too_late(self) -> bool:
        """Whether it is too late to go: the way back may be cut off on it."""
        return self.facts.turn_back is not None and self.facts.turn_back <= self.facts.arrive

    def calendar(self) -> Export:
        """Return the alarms for turning back, where that is known, and for being overdue."""
        question, facts = self.question, self.facts
        key = ("contact", question.mark_id, facts.arrive.isoformat())
        alarms = []
        if facts.turn_back is not None:
            summary = f"Turn back: {facts.place}"
            alarms.append(Alarm((*key, "turn-back"), facts.turn_back, summary, self.text, (_WARNED_MIN, 0)))
        summary = f"Overdue: {facts.who}. Call {facts.emergency_number}"
        alarms.append(Alarm((*key, "overdue"), facts.overdue, summary, self.text))
        stamp = max(one.stamp for one in self.basis.inputs)
        name = f"contact-{question.mark_id}.ics"
        return alarm_calendar(alarms, stamp, facts.latitude, facts.longitude, facts.place, name)


def write_contact_note(context: Context, caller: Caller, question: ContactQuestion) -> ContactNote:
    """Return the note of an outing.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    InvalidSpan
        If the stay is longer than two days.
    DocumentInvalid
        If one is home before one leaves, or more than two days after, or the note is too long whatever is left out.
    """
    leave = _aware(question.span.end)
    if not timedelta(0) <= question.back_home - leave <= timedelta(days=2):
        problem = "is not between leaving and two days later"
        raise DocumentInvalid(Fault("back_home", problem, f"{leave.isoformat()} or up to two days later"))
    basis = find_outing(context, caller, question.mark_id, question.span, {})
    sources = basis.timeline().sources
    allowances = read_thresholds(context, caller).thresholds.allowances(OutingFacts(pace=question.pace))
    found, unsure = turning_back(sources, question.span, question.surge_m, allowances)
    if found is not None:
        unsure = (*unsure, *surge_unsure(sources.conditions, question.span, question.surge_m))
    mark = basis.mark.document
    back: BackKind = "unknown"
    if found is not None:
        back = "dry" if found.time_us is None else "past" if found.already else "at"
    # To the whole minute before: what is read off a clock must not be late.
    due = _minute_before(None if found is None else found.time_us)
    overdue = question.back_home + timedelta(minutes=OVERDUE_MIN)
    looked = _minute_before(None if found is None else found.looked_us)
    facts = ContactFacts(
        who=question.who,
        how_many=question.how_many,
        place=mark.name,
        latitude=mark.latitude,
        longitude=mark.longitude,
        parking=question.parking,
        arrive=_aware(question.span.start),
        leave=leave,
        back=back,
        turn_back=due,
        dry_until=overdue if looked is None else min(looked, overdue),
        overdue=overdue,
        emergency_number=question.emergency_number,
        phone_signal=mark.phone_signal,
        zone=mark.zone,
    )
    return ContactNote(question, basis, found, unsure, facts, contact_note(facts))


def _aware(time: np.datetime64) -> datetime:
    return _from_us(int(time.astype("datetime64[us]").astype(np.int64)))


def _minute_before(time_us: int | None) -> datetime | None:
    return None if time_us is None else _from_us(time_us).replace(second=0, microsecond=0)


def _from_us(time_us: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=time_us)
