"""Questions in the body of a POST that only computes, and reads of what is stored: asked again, answered as before.

The latest answers are remembered with the pulse of the store, as ETags are: as long as nobody has written anything
since, the same caller's same question has the same answer. Where the store has no pulse, each is worked out.
"""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from starlette.types import Message

from service.api.conditional import is_unchanged
from service.api.contract import scope_needed
from service.api.deps import check_scope
from service.api.media import StrictRoute, read_body
from service.security import LOCAL_CALLER
from service.settings import Settings
from service.storage.pulse import Remembered

#: Most answers that are remembered, and the longest of each [bytes]: 16 MiB in all. Longer questions are not.
MOST_ANSWERS, LONGEST_ANSWER, LONGEST_QUESTION = 64, 256 * 1024, 16 * 1024
#: Headers of an answer that one without a body has too.
_OF_304 = ("etag", "last-modified", "vary", "cache-control")
#: Headers that decide an answer besides who asks and what.
_DECIDING = ("accept", "content-type", "content-encoding")


class RepeatedRoute(StrictRoute):
    """A route that only computes or reads, whose latest answers are given again while the store is as it was.

    Other methods than GET and POST pass through, and so does a POST that writes: its answer is no 200.
    """

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler, with what is remembered looked at before it."""
        handle = super().get_route_handler()
        scope = scope_needed(self.methods or (), self.openapi_extra)

        async def remember_first(request: Request) -> Response:
            await check_scope(request, scope)
            settings: Settings = request.app.state.house.settings
            caller = getattr(request.state, "caller", LOCAL_CALLER if settings.auth == "open" else None)
            # Before the store is read: a write in between makes what was found forgotten, not wrong.
            pulse: int | None = request.app.state.house.store.pulse.read()
            if pulse is None or caller is None:
                return await handle(request)
            raw = await read_body(request, settings.max_body_bytes, "EBBMARK_MAX_BODY_BYTES")
            deciding = tuple(tuple(request.headers.getlist(name)) for name in _DECIDING)
            question = caller, request.method, request.url.path, request.scope["query_string"], deciding, raw
            answers: Remembered[tuple[bytes, dict[str, str]]] = request.app.state.answers
            known = answers.find(question, pulse)
            if known is not None:
                etag = known[1].get("etag")
                if etag is not None and is_unchanged(request, etag):
                    return Response(None, 304, {name: known[1][name] for name in _OF_304 if name in known[1]})
                return Response(known[0], 200, dict(known[1]))

            async def receive() -> Message:
                return {"type": "http.request", "body": raw, "more_body": False}

            response = await handle(Request(request.scope, receive))
            content = bytes(response.body)
            if response.status_code == 200 and len(content) <= LONGEST_ANSWER and len(raw) <= LONGEST_QUESTION:
                answers.keep(question, pulse, (content, dict(response.headers)))
            return response

        return remember_first
