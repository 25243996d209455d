"""One kind of thing that can be imported: how its rows are read, compared with what is there, and written."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, Generic, NamedTuple, Protocol, TypeVar

import orjson

from service.errors import DocumentInvalid
from service.imports.rows import Columns, Row
from service.security import Caller
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.known import Known
from tidecore.errors import InvalidInput

T = TypeVar("T")


class Candidate(NamedTuple, Generic[T]):
    """What a row says, checked, and what the account calls it."""

    client_ref: str
    said: T


class Stored(NamedTuple):
    """A thing that is there already: its id, and what it says, as `ImportKind.told` gives it."""

    thing_id: str | None
    told: str


class ImportKind(Protocol[T]):
    """One kind of thing that can be imported.

    `prepare` looks up, `parse` needs nothing of the store, `settle`, `stored` and `write` are of one transaction.
    ``told`` is what a thing says, as a short text; `same` compares what a row says with what a thing said before.
    """

    columns: ClassVar[Columns]

    def prepare(self, rows: Sequence[Row], _known: Known) -> Sequence[Row]:
        """Return rows as `parse` takes them: what only the account knows looked up, or the fault that it is not."""
        return rows

    def parse(self, document: Mapping[str, Any], caller: Caller) -> Candidate[T]:
        """Return what a row says; CoreError or ServiceError with all that is wrong with it."""

    def parse_many(self, documents: Sequence[Mapping[str, Any]], caller: Caller) -> list[Candidate[T]] | None:
        """Return what many rows say, where that is faster than one by one; None where a row may be wrong."""

    def settle(
        self, unit: UnitOfWork, candidates: Sequence[Candidate[T]]
    ) -> list[Candidate[T] | InvalidInput | DocumentInvalid]:
        """Return rows with what they rest on found in the store, or the error that it is not there or not fit."""

    def key(self, one: Candidate[T]) -> str:
        """Return what tells a settled row from others: its `client_ref`, unless that is a name within something."""
        return one.client_ref

    def key_of(self, client_ref: str, _told: str) -> str:
        """Return `key` of a row of which only its reference, and what it told, are left."""
        return client_ref

    def told(self, said: T) -> str:
        """Return what a settled row says."""

    def same(self, new: str, old: str) -> bool:
        """Return whether a row that says ``new`` leaves a thing that says ``old`` as it is."""

    def stored(self, unit: UnitOfWork, candidates: Sequence[Candidate[T]]) -> dict[str, Stored]:
        """Return those of the things that are there, by their keys."""

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[T]], now: datetime) -> list[str]:
        """Add settled rows to the store with their changes, and return their ids."""


def content_hash(value: Any) -> str:
    """Return what a thing says, as a short text: the same content has the same, in whatever order its fields are."""
    return hashlib.sha256(orjson.dumps(value, option=orjson.OPT_SORT_KEYS)).hexdigest()
