"""Structured log lines: one event a line, with the ids of request, account and key, without positions or secrets."""

from __future__ import annotations

import logging
import sys
import traceback
from collections.abc import Iterator, MutableMapping
from typing import Any

import structlog

from service.security import KEY_LIKE

#: Keys whose values never reach a log line, wherever they come from.
HIDDEN = frozenset(
    {
        "latitude", "longitude", "lat", "lon", "position", "facing", "facing_degree",
        "authorization", "api_key", "key", "secret", "password", "token", "cookie",
        "query", "query_string", "body",
    }
)  # fmt: skip

_LEVELS = {"debug": logging.DEBUG, "info": logging.INFO, "warning": logging.WARNING, "error": logging.ERROR}


def hide(_logger: Any, _method: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """Replace what must not be logged; a structlog processor."""
    for name, value in event.items():
        if name.lower() in HIDDEN:
            event[name] = "(hidden)"
        elif isinstance(value, str):
            event[name] = KEY_LIKE.sub("(hidden)", value)
    return event


def tell_error(_logger: Any, _method: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """Replace an exception by its class and the places it came through; a structlog processor.

    What it says is left out: the messages of others hold the values that they were about.
    """
    given = event.pop("exc_info", None)
    error = sys.exc_info()[1] if given is True else given
    if isinstance(error, BaseException):
        event["error"] = _class_name(error)
        event["causes"] = [_class_name(cause) for cause in _causes(error)]
        event["trace"] = trace_of(error)
    return event


def trace_of(error: BaseException) -> list[str]:
    """Return the places that an error came through, outermost first, without what it says."""
    frames = traceback.extract_tb(error.__traceback__)
    return [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames]


def _causes(error: BaseException) -> Iterator[BaseException]:
    seen = {id(error)}
    cause = error.__cause__ or error.__context__
    while cause is not None and id(cause) not in seen:
        seen.add(id(cause))
        yield cause
        cause = cause.__cause__ or cause.__context__


def _class_name(error: BaseException) -> str:
    return f"{type(error).__module__}.{type(error).__qualname__}"


def configure_logs(log_format: str = "json", log_level: str = "info") -> None:
    """Send log lines to standard error as ``json`` or for a ``console``, from ``log_level`` up."""
    renderer: Any = (
        structlog.processors.JSONRenderer()
        if log_format == "json"
        else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty())
    )
    processors: list[Any] = [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        tell_error,
        hide,
    ]
    structlog.configure(
        processors=[*processors, renderer],
        wrapper_class=structlog.make_filtering_bound_logger(_LEVELS[log_level]),
        # Standard error as it is when a line is written, not as it was when logs were configured.
        logger_factory=lambda *_: structlog.PrintLogger(sys.stderr),
        cache_logger_on_first_use=False,
    )


def get_log(room: str) -> Any:
    """Return the logger of a ``room``; configuration may follow later."""
    return structlog.get_logger(room=room)
