"""Notes for whoever stays at home, in requests and answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field

from service.api.instants import Instant, local_date, to_numpy, write_instant
from service.api.v1.schemas.common import DateText, InstantText, Schema, whole
from service.api.v1.schemas.conditions import write_told
from service.api.v1.schemas.hazards import Pace
from service.api.v1.schemas.peg_plans import CAUTION, TurnBackSchema, write_turn_back
from service.api.v1.schemas.searched_marks import SearchedMark, write_searched_mark
from service.api.v1.schemas.session_search import Id, ZoneName
from service.usecases.contact_notes import ContactNote, ContactQuestion
from tidecore.place import Document, Name, Number
from tidecore.timebase import TimeSpan

EXAMPLE: dict[str, Any] = {
    "mark_id": "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "arrive": "2026-06-03T18:00:00Z",
    "leave": "2026-06-03T22:00:00Z",
    "back_home": "2026-06-03T22:45:00Z",
    "who": "Ann Roe",
    "how_many": 2,
    "parking": "car park above the slip, blue van",
    "emergency_number": "112",
}
TOO_LATE = "do not go: by the time you arrive it is too late to turn back before the way back may be cut off"


class ContactQuestionSchema(Document):
    """Who goes where, until when, where the car stands, and whom to call."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]}, title="ContactQuestion")

    mark_id: Id
    arrive: Annotated[Instant, Field(description="When one comes to the mark.")]
    leave: Annotated[Instant, Field(description="When one leaves it, two days later at most.")]
    back_home: Annotated[Instant, Field(description="When one means to be home; one is overdue 60 minutes later.")]
    who: Annotated[Name, Field(description="Who goes, as whoever reads it knows him.")]
    how_many: Annotated[
        int, Field(strict=True, ge=1, le=99, description="How many go, oneself counted."), BeforeValidator(whole)
    ]
    parking: Annotated[Name, Field(description="Where the car stands, and what it looks like; or that there is none.")]
    emergency_number: Annotated[
        str,
        Field(
            pattern=r"^\+?[0-9][0-9 ()-]{1,22}$",
            description="The number that whoever reads it is to call: your own coastguard's.",
        ),
    ]
    surge_m: Annotated[
        Number | None,
        Field(
            ge=-15.0,
            le=15.0,
            description="Surge over the outing [m], on top of the interval; that of the pressure of the air, where it "
            "is known, unless given.",
        ),
    ] = None
    pace: Pace = 1.0
    tz: ZoneName = None

    def question(self) -> ContactQuestion:
        """Return what is asked; InvalidSpan if it runs backwards."""
        return ContactQuestion(
            self.mark_id,
            TimeSpan(to_numpy(self.arrive), to_numpy(self.leave)),
            self.back_home,
            self.who,
            self.how_many,
            self.parking,
            self.emergency_number,
            self.surge_m,
            self.pace,
        )


class ContactNoteSchema(Schema):
    """The note of an outing, and the instants in it."""

    model_config = ConfigDict(title="ContactNote")

    mark: SearchedMark
    numerics: int
    time_zone: str
    date_local: DateText
    text: Annotated[str, Field(max_length=300, description="The note, readable by anyone, by the clocks of the mark.")]
    characters: int
    arrive: InstantText
    leave: InstantText
    back_home: InstantText
    overdue: InstantText
    turn_back: Annotated[TurnBackSchema | None, Field(description="Null where the way back is not known.")]
    phone_signal: Literal["none", "patchy", "good"] | None
    not_assessed: list[str]
    cautions: list[str]


def write_contact_note(note: ContactNote, numerics: int, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a note as `ContactNoteSchema` has it."""
    basis, facts = note.basis, note.facts
    mark, key = basis.mark.document, basis.mark.record.id
    told = write_told({key: basis.told}, basis.span)
    return {
        "mark": write_searched_mark(basis.mark, basis.served, told[key]),
        "numerics": numerics,
        "time_zone": mark.time_zone,
        "date_local": local_date(basis.span.start, mark.zone),
        "text": note.text,
        "characters": len(note.text),
        "arrive": write_instant(facts.arrive, zone),
        "leave": write_instant(facts.leave, zone),
        "back_home": write_instant(note.question.back_home, zone),
        "overdue": write_instant(facts.overdue, zone),
        "turn_back": write_turn_back(note.turn_back, zone),
        "phone_signal": facts.phone_signal,
        "not_assessed": list(note.not_assessed),
        "cautions": [*([TOO_LATE] if note.too_late else []), CAUTION],
    }
