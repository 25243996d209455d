"""Conditional requests (RFC 9110, sections 8.8.3 and 13): ETags made without the body, and 304 before any work.

A strong ETag is a hash of everything that decides the bytes: what the answer rests on in its versions, the question in
one spelling, the media type, `tidecore.NUMERICS` and the number of the format. Two spellings of one question have one.

The ETags of the latest questions are remembered with the pulse of the store. As long as nobody has written anything
since, the same caller's same question has the same ETag, and not even the store is asked.
"""

from __future__ import annotations

import base64
import hashlib
import re
import zoneinfo
from collections.abc import Callable, Coroutine, Hashable, Sequence
from datetime import datetime
from typing import Any

import orjson
from fastapi import Request
from fastapi.responses import Response

from service.api.media import StrictRoute, answer
from service.exports.series import FORMAT
from service.security import LOCAL_CALLER
from service.settings import Settings
from service.storage.pulse import Remembered
from service.usecases.inputs import Basis, Input
from tidecore import NUMERICS

CACHE_CONTROL = "private, no-cache"
#: Series and marks come in forms; other documents only in JSON. All belong to who asks.
VARY_SERIES, VARY_DOCUMENT = "Accept, Authorization", "Authorization"

#: Most questions whose ETags are remembered; each takes some hundred bytes.
MOST_ETAGS = 10_000

_TAG = re.compile(r'(W/)?("[\x21\x23-\x7e\x80-\xff]*")')
_TAG_LIST = re.compile(rf"[ \t]*(?:,[ \t]*)*{_TAG.pattern}[ \t]*(?:,[ \t]*(?:{_TAG.pattern}[ \t]*)?)*")


class SeriesRoute(StrictRoute):
    """A route of series: a question just asked by the same caller is told from a new one before it is looked at."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler, with what is remembered looked at before it."""
        handle = super().get_route_handler()

        async def remember_first(request: Request) -> Response:
            pulse: int | None = request.app.state.house.store.pulse.read()
            question = _question(request)
            if pulse is None or question is None:
                return await handle(request)
            remembered: Remembered[str] = request.app.state.remembered
            etag = remembered.find(question, pulse)
            if etag is not None and is_unchanged(request, etag):
                return Response(None, 304, _headers(etag, VARY_SERIES))
            response = await handle(request)
            # The pulse is of before the store was read: a write in between makes the ETag forgotten, not wrong.
            made = response.headers.get("etag")
            if made is not None and response.status_code in (200, 304):
                remembered.keep(question, pulse, made)
            return response

        return remember_first


def _question(request: Request) -> Hashable | None:
    """Return all that decides an answer but the store: who asks, for what, in which form; None if nobody is known."""
    settings: Settings = request.app.state.house.settings
    caller = getattr(request.state, "caller", LOCAL_CALLER if settings.auth == "open" else None)
    if caller is None:
        return None
    return caller, request.url.path, request.scope["query_string"], tuple(request.headers.getlist("accept"))


def series_etag(basis: Basis, media_type: str, zone: zoneinfo.ZoneInfo | None) -> str:
    """Return the ETag of a series in one form, its instants in one zone."""
    inputs = [[one.kind, one.key, one.version, one.stamp.isoformat()] for one in basis.inputs]
    return _tag([inputs, basis.query, media_type, None if zone is None else zone.key, NUMERICS, FORMAT])


def document_etag(kind: str, key: str, version: int, stamp: datetime) -> str:
    """Return the ETag of a single document, by its id, its version and when it was last written."""
    return _tag([kind, key, version, stamp.isoformat(), FORMAT])


def inputs_etag(inputs: Sequence[Input]) -> str:
    """Return the ETag of a document that is shown with other things, by all of them in their versions."""
    return _tag([[[one.kind, one.key, one.version, one.stamp.isoformat()] for one in inputs], NUMERICS, FORMAT])


def parts_etag(*parts: str | int) -> str:
    """Return the ETag of what is stored and no single document, by all that tells it from what was there before."""
    return _tag([*parts, FORMAT])


def names_etag(header: str, etag: str, *, weak: bool) -> bool:
    """Return whether a list of entity tags, or ``*``, names an ETag.

    ``weak`` is the comparison of If-None-Match; without it that of If-Match, in which a weak tag never matches. A
    header that is no such list names nothing.
    """
    if header.strip(" \t") == "*":
        return True
    if _TAG_LIST.fullmatch(header) is None:
        return False
    return any(tag == etag and (weak or not mark) for mark, tag in _TAG.findall(header))


def is_unchanged(request: Request, etag: str) -> bool:
    """Return whether the caller has what has this ETag already."""
    given = request.headers.getlist("if-none-match")
    return bool(given) and names_etag(", ".join(given), etag, weak=True)


def answer_series(
    request: Request, basis: Basis, form: str, zone: zoneinfo.ZoneInfo | None, write: Callable[[], Response]
) -> Response:
    """Return a series as ``write`` makes it, or 304 without calling it."""
    return _answer(request, series_etag(basis, form, zone), VARY_SERIES, write)


def answer_document(request: Request, etag: str, write: Callable[[], Any]) -> Response:
    """Return a document as ``write`` makes it, in JSON, or 304 without calling it."""
    return _answer(request, etag, VARY_DOCUMENT, lambda: answer(write()))


def has_it(request: Request, etag: str) -> bool:
    """Return whether the caller names an ETag, so that nothing need be computed to say that it is unchanged."""
    return _names_it(request) and is_unchanged(request, etag)


def answer_told(request: Request, etag: str, document: Any | None) -> Response:
    """Return a document in JSON; 304 where it was not made, since the caller `has_it`."""
    headers = _headers(etag, VARY_DOCUMENT)
    if document is None or is_unchanged(request, etag):
        return Response(None, 304, headers)
    response = answer(document)
    response.headers.update(headers)
    return response


def answer_form(request: Request, etag: str, write: Callable[[], Response]) -> Response:
    """Return a document that comes in forms as ``write`` makes it, or 304; the ``etag`` is that of this form."""
    return _answer(request, etag, VARY_SERIES, write)


def declare_conditional(vary: str = VARY_DOCUMENT) -> dict[int | str, dict[str, Any]]:
    """Return the declaration of the headers of an answer that has an ETag, and of 304."""
    said = {
        "ETag": "Strong; changes with anything the answer rests on.",
        "Vary": vary,
        "Cache-Control": CACHE_CONTROL,
    }
    headers = {name: {"description": text, "schema": {"type": "string"}} for name, text in said.items()}
    unchanged = "Nothing has changed: If-None-Match names the ETag of the answer. It has no body."
    return {200: {"headers": headers}, 304: {"description": unchanged, "headers": headers}}


def _answer(request: Request, etag: str, vary: str, write: Callable[[], Response]) -> Response:
    headers = _headers(etag, vary)
    unchanged = is_unchanged(request, etag)
    if unchanged and _names_it(request):
        return Response(None, 304, headers)
    # Whoever has any answer at all (*) need not have had this one, and it may be that there is none.
    response = write()
    if unchanged:
        return Response(None, 304, headers)
    response.headers.update(headers)
    return response


def _names_it(request: Request) -> bool:
    return '"' in "".join(request.headers.getlist("if-none-match"))


def _headers(etag: str, vary: str) -> dict[str, str]:
    return {"ETag": etag, "Vary": vary, "Cache-Control": CACHE_CONTROL}


def _tag(parts: list[Any]) -> str:
    digest = hashlib.sha256(orjson.dumps(parts, option=orjson.OPT_SORT_KEYS)).digest()
    return f'"{base64.urlsafe_b64encode(digest[:18]).decode()}"'
