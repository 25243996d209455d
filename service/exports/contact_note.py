"""A note for whoever stays at home, readable by anyone: at most 300 characters, and nothing essential left out."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from service.errors import DocumentInvalid
from tidecore.errors import Fault

MOST_CHARACTERS = 300
MEDIA_TYPE = "text/plain"
#: Days and months as anyone reads them, whatever the language of the machine.
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_SIGNAL = {"none": "No phone signal.", "patchy": "Patchy phone signal.", "good": "Good phone signal."}
_SIGNAL_UNKNOWN = "Phone signal not known."

BackKind = Literal["at", "past", "dry", "unknown"]


@dataclass(frozen=True, slots=True)
class ContactFacts:
    """What a note says.

    ``back`` tells whether ``turn_back`` is when to turn back, or only no earlier than that was (past), or why there is
    no time: the way back is expected to stay dry until ``dry_until``, or nobody knows. All instants are aware; ``zone``
    is that of the mark.
    """

    who: str
    how_many: int
    place: str
    latitude: float
    longitude: float
    parking: str
    arrive: datetime
    leave: datetime
    back: BackKind
    turn_back: datetime | None
    dry_until: datetime
    overdue: datetime
    emergency_number: str
    phone_signal: Literal["none", "patchy", "good"] | None
    zone: zoneinfo.ZoneInfo


@dataclass(frozen=True, slots=True)
class _Form:
    """How much is said beside what is essential."""

    place: bool
    stay: bool
    dates: bool
    decimals: int


#: Shorter and shorter: each leaves out what the one before can best be read without. Four decimals are 11 m.
_FORMS = (
    _Form(place=True, stay=True, dates=True, decimals=5),
    _Form(place=True, stay=True, dates=False, decimals=5),
    _Form(place=True, stay=False, dates=False, decimals=5),
    _Form(place=False, stay=False, dates=False, decimals=5),
    _Form(place=False, stay=False, dates=False, decimals=4),
)


def contact_note(facts: ContactFacts) -> str:
    """Return the note: one line of at most 300 characters.

    Notes
    -----
    Who, how many, position, parking, turn-back, overdue, whom to call and signal always stand in it, whole. Where it
    is too long the date of the stay goes first, then the stay, then the name of the place, then a decimal.

    Raises
    ------
    DocumentInvalid
        If it is too long all the same, naming the fields that are, and what fits.
    """
    for form in _FORMS:
        text = _write(facts, form)
        if len(text) <= MOST_CHARACTERS:
            return text
    over = len(_write(facts, _FORMS[-1])) - MOST_CHARACTERS
    lengths = {"who": len(facts.who), "parking": len(facts.parking)}
    longest = max(lengths.values())
    faults = [
        Fault(name, f"is {length} characters long, which makes the note {MOST_CHARACTERS + over} of {MOST_CHARACTERS}",
              f"at most {max(length - over, 1)} characters")
        for name, length in lengths.items()
        if length == longest
    ]  # fmt: skip
    raise DocumentInvalid(faults)


def _write(facts: ContactFacts, form: _Form) -> str:
    clock = _clock(facts)
    people = "1 person" if facts.how_many == 1 else f"{facts.how_many} people"
    fishing = "fishing from the shore"
    place = f"{fishing} at {facts.place}" if form.place else fishing
    stay = ""
    if form.stay:
        day = f" {_day(facts.arrive.astimezone(facts.zone))}" if form.dates else ""
        stay = f",{day} {clock(facts.arrive)} to {clock(facts.leave)}"
    where = f"{facts.latitude:.{form.decimals}f}, {facts.longitude:.{form.decimals}f}"
    overdue = facts.overdue.astimezone(facts.zone)

    def moment(time: datetime) -> str:
        # The day too where it is not that of the overdue time.
        local = time.astimezone(facts.zone)
        return clock(time) if local.date() == overdue.date() else f"{clock(time)} {_day(local)}"

    if facts.back == "at" and facts.turn_back is not None:
        back = f"Turn back by {moment(facts.turn_back)}."
        if facts.turn_back <= facts.arrive:
            back = f"Turn-back was due {moment(facts.turn_back)}, before arriving."
    elif facts.back == "past":
        back = "Turn-back was due over a day before arriving."
    else:
        dry = f"Way back expected dry until {moment(facts.dry_until)}."
        back = dry if facts.back == "dry" else "Turn-back not known."
    return (
        f"{facts.who}, {people}, {place}{stay}. Position {where}. Car: {facts.parking}. {back} "
        f"If not home by {clock(facts.overdue)} {_day(overdue)} call {facts.emergency_number}. "
        f"{_SIGNAL.get(facts.phone_signal or '', _SIGNAL_UNKNOWN)}"
    )


def _clock(facts: ContactFacts) -> Callable[[datetime], str]:
    """Return how times of day are said: with their offset where the clocks change in the outing."""
    told = [facts.arrive, facts.leave, facts.overdue, *([] if facts.turn_back is None else [facts.turn_back])]
    offsets = {one.astimezone(facts.zone).utcoffset() for one in told}

    def say(moment: datetime) -> str:
        local = moment.astimezone(facts.zone)
        return local.strftime("%H:%M") if len(offsets) == 1 else local.isoformat(timespec="minutes")[11:]

    return say


def _day(local: datetime) -> str:
    return f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]}"
