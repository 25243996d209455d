"""The first thing a request meets: its id, its log line, HEAD, and whether the caller may come in at all."""

from __future__ import annotations

import re
import secrets
import time

import structlog
from fastapi import Request
from starlette.datastructures import MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.problems import answer_error, answer_unforeseen
from service.errors import KeyNeeded, ServiceError
from service.logs import get_log
from service.security import check_local

log = get_log("api")

_REQUEST_ID = re.compile(rb"[A-Za-z0-9_-]{8,64}")
_ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
}


class Guard:
    """ASGI middleware round the whole application."""

    def __init__(self, app: ASGIApp, auth: str) -> None:
        """Wrap ``app``; ``auth`` is the setting, "open" or "keys"."""
        self._app, self._auth = app, auth

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = time.perf_counter()
        headers = dict(scope["headers"])
        given = headers.get(b"x-request-id", b"")
        request_id = given.decode("ascii") if _REQUEST_ID.fullmatch(given) else secrets.token_hex(8)
        method, status = scope["method"], 0
        scope = {**scope, "state": {**scope.get("state", {}), "request_id": request_id}}
        if method == "HEAD":
            scope["method"] = "GET"

        async def answer(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                sent = MutableHeaders(scope=message)
                sent["X-Request-Id"] = request_id
                for name, value in _ALWAYS.items():
                    sent.setdefault(name, value)
                if scope["path"].startswith("/v1/"):
                    sent.setdefault("Cache-Control", "private, no-cache")
            elif message["type"] == "http.response.body" and method == "HEAD":
                message = {**message, "body": b""}
            await send(message)

        with structlog.contextvars.bound_contextvars(request_id=request_id):
            try:
                self._admit(scope)
                await self._app(scope, receive, answer)
            except ServiceError as error:
                await answer_error(Request(scope), error)(scope, receive, answer)
            except ClientDisconnect:
                log.info("caller_left")
            except Exception as error:
                if status:
                    raise
                await answer_unforeseen(Request(scope), error)(scope, receive, answer)
            route = getattr(scope.get("route"), "path", None)
            took_ms = round((time.perf_counter() - began) * 1e3, 1)
            log.info("request", method=method, route=route, status=status, ms=took_ms)

    def _admit(self, scope: Scope) -> None:
        """Refuse a caller that may not come in; raises KeyNeeded or NotLocal."""
        if self._auth == "open":
            client = scope.get("client")
            check_local(client[0] if client else None, scope["headers"])
        elif scope["path"].startswith("/v1/") and not scope["path"].startswith("/v1/health"):
            raise KeyNeeded
