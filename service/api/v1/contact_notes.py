"""Route of notes for whoever stays at home."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import CallerDep, ContextDep
from service.api.media import StrictRoute, answer
from service.api.negotiation import ICALENDAR, JSON, TEXT, negotiated, offer, write_file, write_text
from service.api.v1.schemas.contact_notes import ContactNoteSchema, ContactQuestionSchema, write_contact_note
from service.security import READ
from service.usecases import contact_notes
from service.usecases.stations import check_zone
from tidecore import NUMERICS

router = APIRouter(prefix="/sessions", tags=["sessions"], route_class=StrictRoute)


@router.post(
    "/contact-note",
    operation_id="write_contact_note",
    summary="A note for whoever stays at home",
    response_model=ContactNoteSchema,
    responses=offer(None, TEXT, ICALENDAR, etag=False)
    | declare(
        "not-found",
        "no-model",
        "invalid-span",
        "outside-ephemeris",
        "model-unreadable",
        "not-acceptable",
        document=True,
    ),
    # It only computes, for all that it is a POST; nothing of it is kept.
    openapi_extra=needs(READ),
)
def write_note(
    body: ContactQuestionSchema,
    form: Annotated[str, Depends(negotiated(JSON, TEXT, ICALENDAR))],
    caller: CallerDep,
    context: ContextDep,
) -> Response:
    """Write a note of at most 300 characters, or calendar alarms for turning back and being overdue.

    Who, how many, position, parking, turn-back, overdue, the number to call and the signal always stand in it; where
    what you give is too long for that, it is refused and says what would fit.
    """
    zone = None if body.tz is None else check_zone(body.tz, "tz")
    note = contact_notes.write_contact_note(context, caller, body.question())
    if form == TEXT:
        return write_text(note.text + "\n")
    if form == ICALENDAR:
        return write_file(note.calendar())
    return answer(write_contact_note(note, NUMERICS, zone))
