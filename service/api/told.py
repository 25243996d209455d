"""Bodies that come in one of several forms, read whole: conditions and official warnings."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

from fastapi import Request

from service.api.editing import fingerprint
from service.api.media import media_type, parse_document, read_body
from service.errors import DocumentInvalid, MediaNotSupported
from service.settings import Settings
from service.usecases.once import Once
from tidecore.errors import Fault

JSON = "application/json"


@dataclass(frozen=True, slots=True)
class TextBody:
    """A body: its content type, its bytes, and the document that it is where it is JSON."""

    media_type: str
    raw: bytes
    document: Any


def receive(*taken: str) -> Callable[[Request], Awaitable[TextBody]]:
    """Return a dependency that reads a body of one of the content types ``taken``.

    JSON is held to the limits of documents, anything else to EBBMARK_MAX_CONDITION_BYTES.
    """

    async def body_of(request: Request) -> TextBody:
        settings: Settings = request.app.state.house.settings
        given = media_type(request)
        if given not in taken:
            raise MediaNotSupported(given, taken)
        if given == JSON:
            raw = await read_body(request, settings.max_body_bytes, "EBBMARK_MAX_BODY_BYTES")
            return TextBody(given, raw, parse_document(raw, settings.max_json_depth))
        raw = await read_body(request, settings.max_condition_bytes, "EBBMARK_MAX_CONDITION_BYTES")
        if not raw:
            raise DocumentInvalid(Fault("body", "is empty", f"a body of type {given}"))
        return TextBody(given, raw, None)

    return body_of


def once_of_body(request: Request, body: TextBody, key: str | None) -> Once:
    """Return the key of a request with such a body, and the fingerprint of all that it asks."""
    return Once(key, fingerprint(request, body.media_type.encode() + b"\n" + body.raw))
