"""Bodies in and out: JSON documents checked before anybody reads them, uploads streamed to a file, orjson answers."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import math
import os
import tempfile
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator, Sequence
from email.message import Message
from pathlib import Path
from typing import Any

import numpy as np
import orjson
from fastapi import Request
from fastapi.responses import Response
from fastapi.routing import APIRoute
from starlette.types import Receive, Scope

from service.api.contract import scope_needed
from service.api.deps import check_scope
from service.api.places import query_names
from service.errors import (
    BodyTooDeep,
    BodyTooLarge,
    DocumentInvalid,
    MediaNotSupported,
    RequestUnreadable,
    SpoolUnavailable,
)
from service.exports.series import rounded
from service.imports.formats import FORMATS
from service.settings import Settings
from service.usecases.fits import Upload
from tidecore.errors import Fault, one_of
from tidecore.units import AnyArray

#: Content types of uploaded gauge records.
RECORD_TYPES = (
    "text/csv",
    "text/plain",
    "text/html",
    "application/json",
    "application/x-netcdf",
    "application/netcdf",
    "application/octet-stream",
    "application/zip",
)
#: Content types of files of rows -> the name of the format.
ROW_TYPES = {form.media_type: name for name, form in FORMATS.items()}
_WRITE_BYTES = 1024 * 1024
_JSON = "application/json"


def answer(document: Any, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    """Return a JSON answer; every value must be plain, see `numbers` for arrays."""
    return Response(orjson.dumps(document), status, headers, "application/json")


def numbers(values: AnyArray | Sequence[float], decimals: int) -> list[float | None]:
    """Return values rounded for publication; NaN, which means unknown, becomes null, and -0 becomes 0.

    Raises
    ------
    ValueError
        For an infinity: nothing that is published may be one.
    """
    found = rounded(values, decimals)
    unknown = np.isnan(found)
    if not unknown.any():
        return found.tolist()  # type: ignore[no-any-return]
    return [None if hidden else value for value, hidden in zip(found.tolist(), unknown.tolist(), strict=True)]


def number(value: float | None, decimals: int) -> float | None:
    """Return one value as `numbers` does; None stays None."""
    if value is None or math.isnan(value):
        return None
    if math.isinf(value):
        raise ValueError("an infinity cannot be published")
    # As numpy rounds the same value in a list: Python's own rounds 0.2325 up, which is a hair over the tie.
    scale = 10.0**decimals
    scaled = float(value) * scale
    # So large a number has no such decimals.
    return float(value) if abs(scaled) >= 2.0**53 else round(scaled) / scale + 0.0


def media_type(request: Request) -> str:
    """Return the content type of a request in lower case, without parameters; empty if there is none."""
    header = request.headers.get("content-type", "")
    if not header.strip():
        return ""
    message = Message()
    message["content-type"] = header
    return message.get_content_type().lower() if "/" in header else header.strip().lower()


class DocumentRequest(Request):
    """A request whose JSON body has been read and checked."""

    def __init__(self, scope: Scope, receive: Receive, raw: bytes, document: Any) -> None:
        """Hold the ``raw`` body and the ``document`` it is."""
        super().__init__(scope, receive)
        self._raw, self._document = raw, document

    async def body(self) -> bytes:
        """Return the body."""
        return self._raw

    async def json(self) -> Any:
        """Return the document."""
        return self._document


class StrictRoute(APIRoute):
    """A route that asks for its scope, refuses query parameters it does not know, and reads a JSON body itself.

    The scope comes first: nothing is read of a request that may not be made.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler, with scope, query and body looked at before it."""
        handle = super().get_route_handler()
        known = frozenset(query_names(self.dependant))
        taken = None if self.body_field is None else str(getattr(self.body_field.field_info, "media_type", _JSON))
        scope = scope_needed(self.methods or (), self.openapi_extra)

        async def look_first(request: Request) -> Response:
            await check_scope(request, scope)
            _check_query(request, known)
            if taken is not None:
                request = await _read_document(request, taken)
            return await handle(request)

        return look_first


def _check_query(request: Request, known: frozenset[str]) -> None:
    faults = [
        Fault(
            ascii(name)[1:-1][:60],
            "is no query parameter here",
            one_of(sorted(known), name) if known else "no query parameter here",
        )
        for name in dict.fromkeys(request.query_params)
        if name not in known
    ]
    if faults:
        raise DocumentInvalid(faults)


async def _read_document(request: Request, taken: str) -> DocumentRequest:
    """Return the request with its JSON body read and checked."""
    settings: Settings = request.app.state.house.settings
    raw = await read_body(request, settings.max_body_bytes, "EBBMARK_MAX_BODY_BYTES")
    document = None
    if raw:
        given = media_type(request)
        if given != taken:
            raise MediaNotSupported(given, (taken,))
        document = parse_document(raw, settings.max_json_depth)
        # A problem may have to say where in it something stands.
        request.state.document = document
    return DocumentRequest(request.scope, request.receive, raw, document)


def parse_document(raw: bytes, max_depth: int) -> Any:
    """Return the JSON document in ``raw``.

    Raises
    ------
    RequestUnreadable
        If it is not one: not UTF-8, cut off, NaN, a number too large for a double, half a surrogate pair.
    BodyTooDeep
        If it is nested deeper than ``max_depth``.
    DocumentInvalid
        If a text in it holds a NUL character.
    """
    try:
        document = orjson.loads(raw)
    except orjson.JSONDecodeError as error:
        if "depth" in error.msg:
            raise BodyTooDeep(max_depth) from error
        raise RequestUnreadable(f"{error.msg} (byte {error.pos})") from error
    _check_values(document, max_depth)
    return document


def _check_values(document: Any, max_depth: int) -> None:
    level: list[tuple[str, Any]] = [("body", document)]
    for depth in range(max_depth + 1):
        below: list[tuple[str, Any]] = []
        for path, value in level:
            if depth == max_depth and isinstance(value, dict | list):
                raise BodyTooDeep(max_depth)
            if isinstance(value, str) and "\x00" in value:
                raise DocumentInvalid(Fault(path, "holds a NUL character", "text without control characters"))
            if isinstance(value, dict):
                if any("\x00" in key for key in value):
                    raise DocumentInvalid(Fault(path, "has a name with a NUL character", "names without it"))
                below.extend((f"{path}.{key}", item) for key, item in value.items())
            elif isinstance(value, list):
                below.extend((f"{path}.{place}", item) for place, item in enumerate(value))
        if not below:
            return
        level = below


async def read_body(request: Request, limit: int, setting: str) -> bytes:
    """Return the body, refused as soon as it is known to be too large."""
    _check_length(request, limit, setting)
    chunks, size = [], 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > limit:
            raise BodyTooLarge(limit, setting)
        chunks.append(chunk)
    return b"".join(chunks)


def _check_length(request: Request, limit: int, setting: str) -> None:
    stated = request.headers.get("content-length", "")
    if stated.isdecimal() and (len(stated) > 18 or int(stated) > limit):
        raise BodyTooLarge(limit, setting)


async def receive_record(request: Request) -> AsyncIterator[Upload]:
    """Stream a gauge record to a temporary file in the spool folder; a dependency that removes what is left of it.

    Raises
    ------
    MediaNotSupported, BodyTooLarge
        If it is not a record, or larger than the limit.
    """
    given = media_type(request)
    if given and given not in RECORD_TYPES:
        raise MediaNotSupported(given, RECORD_TYPES)
    async with _received(request) as upload:
        yield upload


async def receive_rows(request: Request) -> AsyncIterator[Upload]:
    """Do for a file of rows what `receive_record` does; its content type says which format it is."""
    given = media_type(request)
    if given not in ROW_TYPES:
        raise MediaNotSupported(given, tuple(ROW_TYPES))
    async with _received(request) as upload:
        yield upload


@contextlib.asynccontextmanager
async def _received(request: Request) -> AsyncIterator[Upload]:
    settings: Settings = request.app.state.house.settings
    limit, setting = settings.max_upload_bytes, "EBBMARK_MAX_UPLOAD_BYTES"
    _check_length(request, limit, setting)
    path = await asyncio.to_thread(_new_file, settings.spool_folder)
    try:
        yield await _stream_to(request, path, limit, setting)
    finally:
        with contextlib.suppress(FileNotFoundError):
            path.unlink()


def _new_file(folder: Path) -> Path:
    with _spooling():
        folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix="upload-", suffix=".part", dir=folder)
        os.close(handle)
    return Path(name)


@contextlib.contextmanager
def _spooling() -> Iterator[None]:
    """Say in words that the spool folder cannot be written: it is not there, not ours, or full."""
    try:
        yield
    except OSError as error:
        raise SpoolUnavailable(error.strerror or type(error).__name__) from error


async def _stream_to(request: Request, path: Path, limit: int, setting: str) -> Upload:
    digest, size, pending = hashlib.sha256(), 0, bytearray()
    with path.open("wb") as file:

        def write(data: bytes) -> None:
            digest.update(data)
            with _spooling():
                file.write(data)
                # What waits in memory for the disk would fail where nobody says why.
                file.flush()

        async for chunk in request.stream():
            size += len(chunk)
            if size > limit:
                raise BodyTooLarge(limit, setting)
            pending += chunk
            if len(pending) >= _WRITE_BYTES:
                await asyncio.to_thread(write, bytes(pending))
                pending.clear()
        await asyncio.to_thread(write, bytes(pending))
    return Upload(path, size, digest.hexdigest())
