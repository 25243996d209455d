"""Pages of lists by cursor: opaque text that says where to go on."""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Callable
from typing import Annotated, TypeVar

from fastapi import Query, Request

from service.errors import CursorInvalid, CursorOutdated, DocumentInvalid
from service.storage.identifiers import is_id
from tidecore.errors import Fault

P = TypeVar("P")

Cursor = Annotated[
    str | None,
    Query(max_length=100, description="Where to go on: `next_cursor` of the page before."),
]
Limit = Annotated[int, Query(ge=1, le=500, description="Most items on the page.")]


def write_cursor(kind: str, after: str | None) -> str | None:
    """Return the cursor that goes on after an id in the list of a ``kind``; None on the last page."""
    return None if after is None else _encoded(f"{kind} {after}")


def read_cursor(kind: str, cursor: str | None) -> str | None:
    """Return the id after which a list of a ``kind`` goes on; CursorInvalid if the cursor is not of this list."""
    if cursor is None:
        return None
    given, _, after = _decoded(cursor).partition(" ")
    if given != kind or not is_id(after):
        raise CursorInvalid
    return after


def write_log_place(kind: str, after: tuple[object, str] | None) -> str | None:
    """Return the cursor that goes on after a time or day and an id in the list of a ``kind``; None on the last page."""
    return None if after is None else _encoded(f"{kind} {after[0]} {after[1]}".replace("+00:00", "Z"))


def read_log_place(kind: str, cursor: str | None, read: Callable[[str], P]) -> tuple[P, str] | None:
    """Return the time or day, as ``read`` reads it, and the id after which a list goes on; raises as `read_cursor`."""
    if cursor is None:
        return None
    given, _, rest = _decoded(cursor).partition(" ")
    value, _, key = rest.rpartition(" ")
    if given != kind or not is_id(key):
        raise CursorInvalid
    try:
        return read(value), key
    except ValueError as error:
        raise CursorInvalid from error


def link_next(request: Request, form: str, limit: int, cursor: str | None) -> dict[str, str]:
    """Return the Link header (RFC 8288) to the next page of a list in the same form; nothing on the last page."""
    if cursor is None:
        return {}
    # A cursor is made of characters that need no escape.
    return {"Link": f'<{request.url.path}?limit={limit}&cursor={cursor}>; rel="next"; type="{form}"'}


def write_place(account_id: str, number: int) -> str:
    """Return the cursor that goes on after a ``number`` in the changes of an account."""
    return _encoded(f"{_owner(account_id)} {number}")


def read_place(account_id: str, cursor: str | None) -> int:
    """Return the number after which the changes go on, 0 at the start; CursorInvalid if it is not this account's."""
    if cursor is None:
        return 0
    owner, _, number = _decoded(cursor).partition(" ")
    if owner != _owner(account_id) or not number.isdecimal() or len(number) > 18:
        raise CursorInvalid
    return int(number)


def write_row_place(import_id: str, row: int | None) -> str | None:
    """Return the cursor that goes on after a row in the report of an import; None on the last page."""
    return None if row is None else _encoded(f"{import_id} {row}")


def read_row_place(import_id: str, cursor: str | None) -> int:
    """Return the row after which a report goes on, 0 at the start; CursorInvalid if it is not of this import."""
    if cursor is None:
        return 0
    given, _, row = _decoded(cursor).partition(" ")
    if given != import_id or not row.isdecimal() or len(row) > 9:
        raise CursorInvalid
    return int(row)


def write_search_place(question: str, state: str, number: int | None) -> str | None:
    """Return the cursor that goes on after ``number`` results of a search; None on the last page.

    ``question`` stands for what is asked, ``state`` for all that the answer rests on.
    """
    if number is None:
        return None
    return _encoded(f"{question} {state} {number}")


def read_search_place(question: str, state: str, cursor: str | None) -> int:
    """Return after how many results of a search to go on, 0 at the start.

    Raises
    ------
    CursorInvalid
        If the cursor is of another question.
    CursorOutdated
        If what the answer rests on has changed since it was given.
    """
    if cursor is None:
        return 0
    given, _, rest = _decoded(cursor).partition(" ")
    then, _, number = rest.partition(" ")
    if given != question or not number.isdecimal() or len(number) > 9:
        raise CursorInvalid
    if then != state:
        raise CursorOutdated
    return int(number)


def _owner(account_id: str) -> str:
    return hashlib.sha256(f"changes {account_id}".encode()).hexdigest()[:12]


def _encoded(text: str) -> str:
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _decoded(cursor: str) -> str:
    try:
        return base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True).decode("ascii")
    except (binascii.Error, ValueError) as error:
        raise CursorInvalid from error


def check_limit(request: Request, limit: int) -> int:
    """Return the number of items for a page, refused over the setting."""
    most: int = request.app.state.house.settings.max_page
    if limit > most:
        raise DocumentInvalid(Fault("limit", f"is {limit}", f"at most {most}"))
    return limit
