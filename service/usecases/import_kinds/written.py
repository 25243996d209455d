"""Trips and catches as JSON, straight from their fields: pydantic takes twice as long over it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

import orjson

from service.storage.plain import write_json
from tidecore.documents import Document


def write_fields(document: Mapping[str, Any], otherwise: Callable[[], str]) -> str:
    """Return plain data with documents in it as JSON, to the letter as `Document.model_dump_json` writes them.

    These must be written field by field as they are, without serializers. ``otherwise`` gives the text where there are
    halves of surrogate pairs, or whole numbers over 64 bits.
    """
    try:
        return orjson.dumps(document, _fields, orjson.OPT_UTC_Z).decode()
    except orjson.JSONEncodeError:
        return otherwise()


def write_longer(document: Mapping[str, Any], name: str, more: Sequence[str]) -> str:
    """Return plain data as JSON with ``more``, written already, at the end of the list that is called ``name``."""
    try:
        longer = [*document[name], *map(orjson.Fragment, more)]
        return orjson.dumps({**document, name: longer}).decode()
    except orjson.JSONEncodeError:
        return write_json({**document, name: [*document[name], *map(json.loads, more)]})


def fields_of(part: Document, kind: type[Document]) -> Mapping[str, Any]:
    """Return the fields that a document has as one of a ``kind``, its own or one that it extends, as they are called
    in JSON."""
    names, plain = _names(kind)
    fields = part.__dict__
    # What it remembers of itself lies beside them.
    if plain and len(fields) == len(names):
        return fields
    return {shown: fields[name] for name, shown in names.items()}


def _fields(part: Any) -> Mapping[str, Any]:
    return fields_of(part, type(part))


@cache
def _names(kind: type[Document]) -> tuple[Mapping[str, str], bool]:
    """Return what the fields of a kind are called in JSON, and whether that is what they are called here."""
    if not issubclass(kind, Document):
        raise TypeError(f"{kind.__name__} is no document")
    names = {name: field.serialization_alias or name for name, field in kind.model_fields.items()}
    return names, all(name == shown for name, shown in names.items())
