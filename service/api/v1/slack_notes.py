"""Routes of slack notes, and of the slack lags they tell."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, NoteId
from service.api.editing import EDIT, ONCE, IfMatch, IfMatchDep, OnceDep, OnceOfDeed, gone, respond, written
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.v1.schemas.marks import Mark, write_mark
from service.api.v1.schemas.slack_notes import (
    SlackLags,
    SlackNote,
    SlackNoteCreate,
    SlackNoteList,
    write_lags,
    write_note,
    write_notes,
)
from service.usecases.documents import Expected
from service.usecases.marks import MarkView
from service.usecases.once import Answered
from service.usecases.slack_notes import SLACK_NOTES, NoteView, adopt_lags, list_notes, tell_lags

router = APIRouter(tags=["marks"], route_class=StrictRoute)

_TOLD = ("not-found", "no-model", "slack-undetermined", "model-unreadable")


@router.post(
    "/marks/{mark_id}/slack-notes",
    operation_id="create_slack_note",
    summary="Note a slack",
    status_code=201,
    response_model=SlackNote,
    responses=declare("not-found", "reference-taken", "store-conflict", *ONCE, document=True),
)
def create_slack_note(
    mark_id: MarkId, body: SlackNoteCreate, caller: CallerDep, context: ContextDep, once: OnceDep
) -> Response:
    """Note when the stream was seen to turn at a mark, and what it turned to."""
    draft = body.to_draft(mark_id)
    return respond(once.run(context, caller, lambda keep: SLACK_NOTES.create(context, caller, draft, keep), _made))


@router.get(
    "/marks/{mark_id}/slack-notes",
    operation_id="list_slack_notes",
    summary="List the slack notes of a mark",
    response_model=SlackNoteList,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_slack_notes(
    request: Request,
    mark_id: MarkId,
    caller: CallerDep,
    context: ContextDep,
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """List the slack notes of a mark, a page at a time, in the order in which they were made."""
    after = read_cursor("slack-notes", cursor)
    page = list_notes(context, caller, mark_id, after, check_limit(request, limit))
    return answer(write_notes(page, write_cursor("slack-notes", page.after)))


@router.get(
    "/slack-notes/{note_id}",
    operation_id="get_slack_note",
    summary="Read a slack note",
    response_model=SlackNote,
    responses=declare_conditional() | declare("not-found"),
)
def get_slack_note(request: Request, note_id: NoteId, caller: CallerDep, context: ContextDep) -> Response:
    """Read a slack note."""
    view = SLACK_NOTES.get(context, caller, note_id)
    return answer_document(request, _etag(view), lambda: write_note(view))


@router.delete(
    "/slack-notes/{note_id}",
    operation_id="delete_slack_note",
    summary="Delete a slack note",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_slack_note(note_id: NoteId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a slack note; lags that were adopted stay the mark's."""
    SLACK_NOTES.remove(context, caller, note_id, _expected(if_match))
    return gone()


@router.get(
    "/marks/{mark_id}/slack-lags",
    operation_id="get_slack_lags",
    summary="Slack lags that the notes of a mark tell",
    response_model=SlackLags,
    responses=declare(*_TOLD),
)
def get_slack_lags(mark_id: MarkId, caller: CallerDep, context: ContextDep) -> Response:
    """Slack lags from the notes of a mark, each with its interval: never better than 20 min from three notes."""
    return answer(write_lags(tell_lags(context, caller, mark_id)))


@router.post(
    "/marks/{mark_id}/slack-lags/adopt",
    operation_id="adopt_slack_lags",
    summary="Adopt the slack lags that the notes tell",
    response_model=Mark,
    responses=declare(*_TOLD, "store-conflict", *ONCE),
)
def adopt_slack_lags(mark_id: MarkId, caller: CallerDep, context: ContextDep, once: OnceOfDeed) -> Response:
    """Make the lags that the notes tell those of the mark, in its next version. Once more changes nothing."""
    return respond(once.run(context, caller, lambda keep: adopt_lags(context, caller, mark_id, keep), _adopted))


def _etag(view: NoteView) -> str:
    return document_etag("slack_note", view.record.id, view.record.version, view.record.updated_at)


def _expected(if_match: IfMatch) -> Expected:
    return lambda record: if_match.allows(document_etag("slack_note", record.id, record.version, record.updated_at))


def _made(view: NoteView) -> Answered:
    return written(write_note(view), 201, {"Location": f"/v1/slack-notes/{view.record.id}", "ETag": _etag(view)})


def _adopted(view: MarkView) -> Answered:
    etag = document_etag("mark", view.record.id, view.record.version, view.record.updated_at)
    return written(write_mark(view), 200, {"ETag": etag})
