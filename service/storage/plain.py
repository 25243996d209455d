"""Errors and reports as the plain data that the store keeps; knows no database, so that the worker needs none."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import orjson

from service.errors import ServiceError
from tidecore.errors import CoreError, Fault


def encode_error(error: CoreError | ServiceError) -> dict[str, Any]:
    """Return an error as plain data: the name of its class, its sentence, and its faults."""
    faults: Sequence[Fault] = getattr(error, "faults", ())
    return {
        "error": type(error).__name__,
        "detail": str(error),
        "faults": [{"field": f.field, "problem": f.problem, "expected": f.expected} for f in faults],
    }


def write_json(document: Any) -> str:
    """Return plain data as JSON; what the fast writer refuses (lone surrogates, whole numbers over 64 bits) is left to
    the one of the standard library."""
    try:
        return orjson.dumps(document).decode()
    except orjson.JSONEncodeError:
        return json.dumps(document)


def plain(value: Any) -> Any:
    """Return ``value`` as JSON has it: numpy scalars and arrays become numbers and lists, NaN becomes None.

    Raises
    ------
    TypeError
        For what has no plain form.
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if hasattr(value, "tolist") and not isinstance(value, str | bytes):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if value - value == 0.0 else None
    if value is None or isinstance(value, bool | int | str):
        return value
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    raise TypeError(f"no plain form of {type(value).__name__}")
