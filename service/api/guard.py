"""The first thing a request meets: its id, its log line, HEAD, whether the caller may come in, and how often."""

from __future__ import annotations

import re
import secrets
import time

import anyio
import anyio.to_thread
import structlog
from fastapi import Request
from starlette.datastructures import MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.limits import RateLimiter
from service.api.problems import answer_error, answer_unforeseen
from service.errors import ServiceError, TooManyRequests
from service.logs import get_log
from service.security import KEY_LIKE, LOCAL_CALLER, Caller, check_local, key_of
from service.usecases.context import Context
from service.usecases.feeds import open_feed
from service.usecases.keys import authenticate

log = get_log("api")

#: Where the token of a feed stands in place of a key: who reads calendars can send no header.
_TOKEN = re.compile(r"/v1/feeds/([^/]+)\.ics")
_REQUEST_ID = re.compile(r"[A-Za-z0-9_-]{8,64}")
_ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
}
#: Threads that look keys up; not those of the requests, so that nobody waits at the door for somebody's search.
_DOORS = 4


class Guard:
    """ASGI middleware round the whole application."""

    def __init__(self, app: ASGIApp, context: Context, limiter: RateLimiter | None = None) -> None:
        """Wrap ``app``; ``context`` has the store of keys and the setting "open" or "keys", ``limiter`` the pace."""
        self._app, self._context, self._limiter = app, context, limiter
        self._doors = anyio.CapacityLimiter(_DOORS)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = time.perf_counter()
        method, request_id = scope["method"], _request_id(scope)
        scope = {**scope, "state": {**scope.get("state", {}), "request_id": request_id}}
        if method == "HEAD":
            scope["method"] = "GET"
        answer = _Answer(send, scope["path"], method, request_id)
        with structlog.contextvars.bound_contextvars(request_id=request_id, account_id=None, key_id=None):
            try:
                await self._admit(scope, answer)
                await self._app(scope, receive, answer)
            except ServiceError as error:
                await answer_error(Request(scope), error)(scope, receive, answer)
            except ClientDisconnect:
                log.info("caller_left")
            except Exception as error:
                if answer.status:
                    log.exception("answer_broke_off", exc_info=error)
                    # Whatever logs this one must not say what the first one said: it may hold what is private.
                    raise RuntimeError("an answer broke off; the log has the cause under the request id") from None
                await answer_unforeseen(Request(scope), error)(scope, receive, answer)
            route = getattr(scope.get("route"), "path", None)
            took_ms = round((time.perf_counter() - began) * 1e3, 1)
            log.info("request", method=method, route=route, status=answer.status, ms=took_ms)

    async def _admit(self, scope: Scope, answer: _Answer) -> None:
        """Refuse a caller that may not come in, or comes too often; others are told to the route.

        A key is asked for once, here: a request that was let in goes on to its end.
        """
        is_open = self._context.settings.auth == "open"
        if is_open:
            client = scope.get("client")
            check_local(client[0] if client else None, scope["headers"])
        if not asks_for_key(scope["path"]):
            return
        token = _TOKEN.fullmatch(scope["path"]) if scope["method"] == "GET" else None
        if token is not None:
            caller = await anyio.to_thread.run_sync(open_feed, self._context, token[1], limiter=self._doors)
        else:
            caller = LOCAL_CALLER if is_open else await self._recognise(scope)
        structlog.contextvars.bind_contextvars(account_id=caller.account_id, key_id=caller.key_id)
        scope["state"]["caller"] = caller
        if self._limiter is not None:
            allowance = self._limiter.take(caller.key_id or caller.account_id)
            answer.fields.update(self._limiter.fields(allowance))
            if not allowance.taken:
                raise TooManyRequests(self._limiter.per_minute, allowance.retry_after_s)

    async def _recognise(self, scope: Scope) -> Caller:
        key = key_of(scope["headers"])
        return await anyio.to_thread.run_sync(authenticate, self._context, key, limiter=self._doors)


def asks_for_key(path: str) -> bool:
    """Return whether a key, or the token of a feed, is asked for at ``path`` before it is said whether anything is
    there."""
    return path == "/v1" or (path.startswith("/v1/") and not path.startswith("/v1/health/"))


def _request_id(scope: Scope) -> str:
    """Return the id that the caller gives the request, or a new one where it is none, or might be a key."""
    given = dict(scope["headers"]).get(b"x-request-id", b"").decode("latin-1")
    return given if _REQUEST_ID.fullmatch(given) and not KEY_LIKE.search(given) else secrets.token_hex(8)


class _Answer:
    """The way out: adds what every answer carries, and takes the body from answers to HEAD."""

    def __init__(self, send: Send, path: str, method: str, request_id: str) -> None:
        self._send, self._method = send, method
        self._private = path == "/v1" or path.startswith("/v1/")
        self.status = 0
        self.fields = {"X-Request-Id": request_id}

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            sent = MutableHeaders(scope=message)
            for name, value in self.fields.items():
                sent[name] = value
            for name, value in _ALWAYS.items():
                sent.setdefault(name, value)
            if self._private:
                sent.setdefault("Cache-Control", "private, no-cache")
        elif message["type"] == "http.response.body" and self._method == "HEAD":
            message = {**message, "body": b""}
        await self._send(message)
