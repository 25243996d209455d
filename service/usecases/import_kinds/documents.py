"""What kinds of rows share that are documents in versions, one a thing."""

from __future__ import annotations

import json
from abc import abstractmethod
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar, TypeVar

from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from service.security import Caller
from service.storage.plain import write_json
from service.storage.repositories.documents import DocumentRepository, Link
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.kind import Candidate, ImportKind, Ready, Rests, Stored, Wrong, content_hash
from service.usecases.import_kinds.known import current, things_named
from tidecore.documents import Document

D = TypeVar("D", bound=Document)

#: Fields of a row that its document does not have.
OF_THE_ROW = frozenset({"client_ref"})


class DocumentImport(ImportKind[D]):
    """Rows that are each the first version of a document, with ``client_ref`` beside it."""

    #: What the list of changes calls them.
    kind: ClassVar[str]
    #: The document with ``client_ref``, and without.
    row: ClassVar[type[Any]]
    document: ClassVar[type[Document]]
    #: Many rows at once, where people have them by the thousand.
    rows: ClassVar[TypeAdapter[Any] | None] = None
    #: Whether a row may call a thing by its id, as exports do with those that have no other name.
    by_id: ClassVar[bool] = False
    #: The columns beside the document.
    links: ClassVar[tuple[str, ...]] = ()

    @abstractmethod
    def things(self, unit: UnitOfWork) -> DocumentRepository:
        """Return where they are kept."""

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[D]:
        """Return what a row says."""
        row = self.row.parse(document)
        return Candidate(row.client_ref, row)

    def parse_many(self, documents: Sequence[Mapping[str, Any]], _caller: Caller) -> list[Candidate[D]] | None:
        """Return what many rows say; None where one is wrong."""
        if self.rows is None:
            return None
        try:
            return [Candidate(row.client_ref, row) for row in self.rows.validate_python(documents)]
        except ValidationError:
            return None

    def settle(self, _unit: UnitOfWork, candidates: Sequence[Candidate[D]], _rests: Rests) -> Sequence[Ready | Wrong]:
        """Return rows as they are."""
        return [Ready(reference, text_of(row), self.linked(row)) for reference, row in candidates]

    def linked(self, _row: D) -> tuple[Link, ...]:
        """Return the columns beside a document that rests on nothing."""
        return ()

    def in_order(self, links: Mapping[str, Link]) -> tuple[Link, ...]:
        """Return the columns beside a document in the order of `links`."""
        assert len(links) == len(self.links), "each column beside a document is in `links`"
        return tuple(links[name] for name in self.links)

    def told(self, one: Ready) -> str:
        """Return the hash of the document."""
        return content_hash(json.loads(one.text))

    def told_of(self, document: Mapping[str, Any]) -> str:
        """Return the same of a document that is there, as this version of the service would store it."""
        return content_hash(self.stored_as(self.document.parse(document)))

    def stored_as(self, document: Document) -> Mapping[str, Any]:
        """Return what is stored of a document, as plain data."""
        return document.to_document()

    def said_by(self, document: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return what a document that is there says."""
        return self.document.parse(document).to_document()

    def stored(self, unit: UnitOfWork, rows: Sequence[Ready]) -> dict[str, Stored]:
        """Return the things there are, by what rows call them."""
        things = self.things(unit)
        names = {one.client_ref for one in rows}
        found = things_named(things, names) if self.by_id else things.by_references(sorted(names))
        documents = current(things, found)
        return {name: Stored(one.id, self.told_of(documents[one.id]), documents[one.id]) for name, one in found.items()}

    def write(self, unit: UnitOfWork, rows: Sequence[Ready], now: datetime) -> list[str]:
        """Add documents in their first versions."""
        made = self.things(unit).add_many(self.links, [(one.client_ref, one.text, *one.links) for one in rows], now)
        unit.note_new(self.kind, made, now)
        return made


def text_of(row: Document, left_out: frozenset[str] = OF_THE_ROW, *, nulls: bool = True) -> str:
    """Return a row as the JSON of its document; without ``nulls`` fields that are None are left out."""
    try:
        return row.model_dump_json(by_alias=True, exclude=set(left_out), exclude_none=not nulls)
    except PydanticSerializationError:
        # Halves of surrogate pairs.
        return write_json(row.model_dump(mode="json", by_alias=True, exclude=set(left_out), exclude_none=not nulls))
