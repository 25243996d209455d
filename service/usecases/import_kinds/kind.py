"""One kind of thing that can be imported: how its rows are read, compared with what is there, and written."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, Generic, NamedTuple, Protocol, TypeVar

import orjson

from service.imports.rows import Columns, Row
from service.security import Caller
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.known import Known
from tidecore.errors import Fault

T = TypeVar("T")

#: A name that nothing has: those of an account begin with no blank.
NOBODYS = " nobody's"


class Candidate(NamedTuple, Generic[T]):
    """What a row says, checked, and what the account calls it."""

    client_ref: str
    said: T


class Ready(NamedTuple):
    """A settled row, as it would be written; plain data, for it may come from another process.

    ``text`` is the document as it is stored, ``links`` are the columns beside it; ``more`` is for its kind alone.
    """

    client_ref: str
    text: str
    links: tuple[Link, ...] = ()
    more: Any = None


class Wrong(NamedTuple):
    """What is wrong with a row."""

    faults: Sequence[Fault]


class Stored(NamedTuple):
    """A thing that is there already: its id, what it says, as `ImportKind.told` gives it, and its document if known."""

    thing_id: str | None
    told: str
    document: Mapping[str, Any] | None = None


#: What rows rest on, by the names they have for it: plain data that is another once the thing has changed.
Rests = Mapping[str, Any]


class ImportKind(Protocol[T]):
    """One kind of thing that can be imported.

    `prepare` looks up, `parse` needs nothing of the store; `settle` may be done ahead of the transaction that writes,
    where `resting` is then asked again; `stored` and `write` are of that transaction. ``told`` is what a thing says, as
    a short text; `same` compares what a row says with what a thing said before.
    """

    columns: ClassVar[Columns]
    #: What stands for fields that a row must have, where they are wrong, while the rest of it is settled: nothing
    #: follows from them. Empty where settling finds nothing wrong.
    harmless: ClassVar[Mapping[str, Any]] = {}

    def prepare(self, rows: Sequence[Row], _known: Known) -> Sequence[Row]:
        """Return rows as `parse` takes them: what only the account knows looked up, or the fault that it is not, with
        what is wrong left out."""
        return rows

    def parse(self, document: Mapping[str, Any], caller: Caller) -> Candidate[T]:
        """Return what a row says; CoreError or ServiceError with all that is wrong with it."""

    def parse_many(self, _documents: Sequence[Mapping[str, Any]], _caller: Caller) -> list[Candidate[T]] | None:
        """Return what many rows say, where that is faster than one by one; None where it is not or one is wrong."""
        return None

    def name_of(self, _one: Candidate[T]) -> str | None:
        """Return the name that a row has for what it rests on, None where it rests on nothing."""
        return None

    def resting(self, _unit: UnitOfWork, _names: Collection[str]) -> Rests:
        """Return what rows rest on, of those names of which there is something."""
        return {}

    def settle(self, unit: UnitOfWork, candidates: Sequence[Candidate[T]], rests: Rests) -> Sequence[Ready | Wrong]:
        """Return rows as they would be written, resting on what was found, or what stands against them."""

    def key(self, one: Ready) -> str:
        """Return what tells a settled row from others: its `client_ref`, unless that is a name within something."""
        return one.client_ref

    def key_of(self, client_ref: str, _told: str) -> str:
        """Return `key` of a row of which only its reference, and what it told, are left."""
        return client_ref

    def told(self, one: Ready) -> str:
        """Return what a settled row says."""

    def same(self, new: str, old: str) -> bool:
        """Return whether a row that says ``new`` leaves a thing that says ``old`` as it is."""
        return new == old

    def said(self, one: Ready) -> Mapping[str, Any]:
        """Return the fields that a settled row says, as they would be stored."""
        found: dict[str, Any] = json.loads(one.text)
        return found

    def said_by(self, document: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return the fields of a document that is there, as this version of the service would store it."""
        return document

    def stored(self, unit: UnitOfWork, rows: Sequence[Ready]) -> dict[str, Stored]:
        """Return those of the things that are there, by their keys."""

    def write(self, unit: UnitOfWork, rows: Sequence[Ready], now: datetime) -> list[str]:
        """Add settled rows to the store with their changes, and return their ids."""


def differing(new: Mapping[str, Any], old: Mapping[str, Any]) -> list[str]:
    """Return the paths at which a document says something else than another, of the fields that it has."""
    return [path for name in new for path in _paths(new[name], old.get(name), name)]


def _paths(new: Any, old: Any, path: str) -> Iterator[str]:
    if isinstance(new, Mapping) and isinstance(old, Mapping):
        for name in {**new, **old}:
            yield from _paths(new.get(name), old.get(name), f"{path}.{name}")
    elif isinstance(new, list) and isinstance(old, list) and len(new) == len(old):
        for place, (one, other) in enumerate(zip(new, old, strict=True)):
            yield from _paths(one, other, f"{path}.{place}")
    elif new != old:
        yield path


def content_hash(value: Any) -> str:
    """Return what a thing says, as a short text: the same content has the same, in whatever order its fields are."""
    try:
        raw = orjson.dumps(value, option=orjson.OPT_SORT_KEYS)
    except orjson.JSONEncodeError:
        raw = json.dumps(value, sort_keys=True).encode()
    return hashlib.sha256(raw).hexdigest()
