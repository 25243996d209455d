"""Structured log lines: one event a line, with the request's id, without positions or secrets."""

from __future__ import annotations

import logging
import sys
from collections.abc import MutableMapping
from typing import Any

import structlog

#: Keys whose values never reach a log line, wherever they come from.
HIDDEN = frozenset(
    {
        "latitude", "longitude", "lat", "lon", "position", "facing",
        "authorization", "api_key", "key", "secret", "password", "token", "cookie",
        "query", "query_string", "body",
    }
)  # fmt: skip

_LEVELS = {"debug": logging.DEBUG, "info": logging.INFO, "warning": logging.WARNING, "error": logging.ERROR}


def hide(_logger: Any, _method: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """Replace what must not be logged; a structlog processor."""
    for name in event:
        if name.lower() in HIDDEN:
            event[name] = "(hidden)"
    return event


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
        hide,
    ]
    if log_format == "json":
        processors.append(structlog.processors.format_exc_info)
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
