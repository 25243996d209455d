"""Queries of versioned documents: marks, species rules, and whatever else an account edits version by version."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Select,
    Text,
    bindparam,
    cast,
    delete,
    func,
    insert,
    or_,
    select,
    tuple_,
    update,
)
from sqlalchemy.orm import Session

from service.storage.bulk import among, insert_columns
from service.storage.codecs import document_record
from service.storage.identifiers import new_id, new_ids
from service.storage.mapping import JsonText
from service.storage.records import DocumentRecord, VersionRecord
from service.storage.repositories.base import Repository
from service.storage.repositories.document_tables import DocumentTables
from service.storage.repositories.log_months import LogMonthRepository, months_of

#: Columns of a document that say when; all the same of one that was just made.
_TIMES = ("created_at", "updated_at", "said_at")

#: Value of a column that a kind of document has beside it.
Link = str | int | date | datetime | None


@dataclass(frozen=True, slots=True)
class Ordered:
    """A list in the order of one ``column``, then of ids.

    ``equal`` are columns with the value wanted; values of ``column`` lie in ``[first, end)`` where these are given;
    the list goes on after a value and an id.
    """

    column: str
    equal: Mapping[str, Link]
    first: Link = None
    end: Link = None
    after: tuple[Link, str] | None = None


class DocumentRepository(Repository):
    """Documents of one kind and one account.

    ``links`` are columns of the kind beside its document: what other tables are joined by.
    """

    def __init__(self, session: Session, account_id: str, tables: DocumentTables) -> None:
        """Work on the ``tables`` of a kind."""
        super().__init__(session, account_id)
        self._row, self._version_row = tables.row, tables.version_row
        self._prefix, self._many = tables.prefix, tables.many
        self._months = LogMonthRepository(session, account_id) if tables.dated else None

    def add(
        self, document: Mapping[str, Any], *, external_ref: str | None, now: datetime, links: Mapping[str, Link]
    ) -> DocumentRecord:
        """Add a document in its first version and return its record."""
        row = self._row(
            key=new_id(self._prefix),
            account_id=self._account_id,
            external_ref=external_ref,
            version=1,
            created_at=now,
            updated_at=now,
            said_at=now,
            document=dict(document),
            **links,
        )
        self._session.add(row)
        self._session.flush()
        self._count_days([links])
        return document_record(row)

    def add_many(self, links: Sequence[str], rows: Sequence[Sequence[Any]], now: datetime) -> list[str]:
        """Add documents in their first versions, all in one go, and return their ids in the same order.

        Each of ``rows`` is an external reference or None, a document as JSON, and the values of the columns ``links``.
        """
        if not rows:
            return []
        ids = new_ids(self._prefix, len(rows))
        references, texts, *columns = zip(*rows, strict=True)
        key = self._row.__mapper__.c.key.name
        common = {"account_id": self._account_id, "version": 1, **dict.fromkeys(_TIMES, now)}
        records = {key: ids, "external_ref": references, **dict(zip(links, columns, strict=True))}
        insert_columns(self._session, self._row, common, records, texts={"document": texts})
        if "local_day" in records:
            self._count_up(records["local_day"])
        return ids

    def replace(
        self,
        record: DocumentRecord,
        document: Mapping[str, Any] | None,
        *,
        external_ref: str | None,
        now: datetime,
        links: Mapping[str, Link],
    ) -> DocumentRecord | None:
        """Give a document its next version, or only another reference where ``document`` is None.

        None is returned where it is not as ``record`` says any more.
        """
        as_told = (
            self._row.account_id == self._account_id,
            self._row.key == record.id,
            self._row.version == record.version,
            self._row.updated_at == record.updated_at,
        )
        version, said = record.version, dict[str, Any]()
        self._count_months([record.id])
        if document is not None:
            self._keep_versions(*as_told)
            version, said = record.version + 1, {"document": dict(document), "said_at": now}
        result = self._session.execute(
            update(self._row)
            .where(*as_told)
            .values(version=version, external_ref=external_ref, updated_at=now, **said, **links)
        )
        if not result.rowcount:  # type: ignore[attr-defined]
            return None
        self._count_days([links])
        return DocumentRecord(record.id, external_ref, version, record.created_at, now)

    def replace_many(
        self, edits: Sequence[tuple[DocumentRecord, str, Mapping[str, Link]]], now: datetime
    ) -> list[DocumentRecord]:
        """Give many documents, told as JSON, their next versions; other columns than these of the kind stay.

        Their records must have been read in this unit of work: no other writer can have come between.
        """
        if not edits:
            return []
        # An edit always comes after what it edits, whatever the clock says: ETags rest on it.
        made = [
            one._replace(version=one.version + 1, updated_at=max(now, one.updated_at + timedelta(microseconds=1)))
            for one, _, _ in edits
        ]
        row = self._row
        linked: dict[str, Any] = {name: bindparam(f"its_{name}") for name in edits[0][2]}
        statement = (
            update(row)
            .where(row.account_id == self._account_id, row.key == bindparam("its_key"))
            .values(
                version=bindparam("its_version"),
                updated_at=bindparam("its_time"),
                said_at=bindparam("its_time"),
                document=bindparam("its_text", type_=JsonText),
                **linked,
            )
        )
        values = [
            {"its_key": one.id, "its_version": one.version, "its_time": one.updated_at, "its_text": text}
            | {f"its_{name}": value for name, value in links.items()}
            for one, (_, text, links) in zip(made, edits, strict=True)
        ]
        ids = [one.id for one in made]
        self._count_months(ids)
        self._keep_versions(row.account_id == self._account_id, row.key.in_(ids))
        self._session.connection().execute(statement, values)
        self._count_days([links for _, _, links in edits])
        return made

    def remove(self, record: DocumentRecord) -> bool:
        """Remove a document with all its versions; False where it is not as ``record`` says any more."""
        self._count_months([record.id])
        # The account is asked of the document alone: asked of the versions, SQLite reads all that the account has.
        own = select(self._row.key).where(self._row.account_id == self._account_id, self._row.key == record.id)
        self._session.execute(
            delete(self._version_row).where(self._version_row.key.in_(own)).execution_options(synchronize_session=False)
        )
        result = self._session.execute(
            delete(self._row).where(
                self._row.account_id == self._account_id,
                self._row.key == record.id,
                self._row.version == record.version,
                self._row.updated_at == record.updated_at,
            )
        )
        return bool(result.rowcount)  # type: ignore[attr-defined]

    def many(self, keys: Sequence[str]) -> dict[str, DocumentRecord]:
        """Return those of the documents that there are, by id."""
        found = self._session.connection().execute(self._many, {"account_id": self._account_id, "keys": list(keys)})
        return {row[0]: DocumentRecord(*row) for row in found}

    def by_reference(self, external_ref: str) -> DocumentRecord | None:
        """Return the document that has an external reference."""
        row = self._session.scalar(self._mine().where(self._row.external_ref == external_ref))
        return None if row is None else document_record(row)

    def by_references(self, references: Sequence[str]) -> dict[str, DocumentRecord]:
        """Return those of the documents that there are, by external reference."""
        row = self._row
        query = select(row.key, row.external_ref, row.version, row.created_at, row.updated_at).where(
            row.account_id == self._account_id, among(self._session, row.external_ref, references)
        )
        found = (DocumentRecord(*one) for one in self._session.connection().execute(query))
        return {record.external_ref: record for record in found if record.external_ref is not None}

    def count(self) -> int:
        """Return how many documents there are."""
        query = select(func.count()).select_from(self._row).where(self._row.account_id == self._account_id)
        return self._session.scalar(query) or 0

    def page(self, after: str | None, limit: int) -> list[DocumentRecord]:
        """Return documents in the order of their ids."""
        return [document_record(row) for row in self._page(self._mine(), self._row.key, after, limit)]

    def page_linked(self, column: str, value: str, after: str | None, limit: int) -> list[DocumentRecord]:
        """Return documents with a ``value`` in one of the columns of the kind, in the order of their ids."""
        query = self._mine().where(getattr(self._row, column) == value)
        return [document_record(row) for row in self._page(query, self._row.key, after, limit)]

    def page_ordered(self, wanted: Ordered, limit: int) -> list[tuple[Link, DocumentRecord]]:
        """Return documents in the order of one of the columns of the kind, each with its value there."""
        row = self._row
        column = getattr(row, wanted.column)
        query = select(column, row.key, row.external_ref, row.version, row.created_at, row.updated_at).where(
            row.account_id == self._account_id,
            *(getattr(row, name) == value for name, value in wanted.equal.items()),
        )
        if wanted.first is not None:
            query = query.where(column >= wanted.first)
        if wanted.end is not None:
            query = query.where(column < wanted.end)
        if wanted.after is not None:
            value, key = wanted.after
            # The first condition is for the index, the second for those with the same value.
            query = query.where(column >= value, or_(column > value, row.key > key))
        found = self._session.execute(query.order_by(column, row.key).limit(limit))
        return [(value, DocumentRecord(*one)) for value, *one in found]

    def with_any(self, column: str, values: Sequence[str]) -> list[DocumentRecord]:
        """Return documents with one of some ``values`` in one of the columns of the kind, in the order of their ids."""
        query = self._mine().where(getattr(self._row, column).in_(list(values))).order_by(self._row.key)
        return [document_record(row) for row in self._session.scalars(query)]

    def between(self, column: str, start: datetime, end: datetime) -> list[DocumentRecord]:
        """Return documents with an instant from ``start`` to before ``end`` in one of the columns, in its order."""
        when = getattr(self._row, column)
        query = self._mine().where(when >= start, when < end).order_by(when, self._row.key)
        return [document_record(row) for row in self._session.scalars(query)]

    def linked(self, column: str, value: str, limit: int) -> list[str]:
        """Return the ids of at most ``limit`` documents with a ``value`` in one of the columns of the kind."""
        query = select(self._row.key).where(
            self._row.account_id == self._account_id, getattr(self._row, column) == value
        )
        return list(self._session.scalars(query.order_by(self._row.key).limit(limit)))

    def in_order(self, column: str, first: Link, before: Link, linked: Mapping[str, str]) -> list[str]:
        """Return the ids of documents in the order of one of the columns of the kind, from ``first`` to ``before``.

        Either may be None for no bound; ``linked`` are columns and the values that they must have.
        """
        row = self._row
        place = getattr(row, column)
        query = select(row.key).where(row.account_id == self._account_id)
        for name, value in linked.items():
            query = query.where(getattr(row, name) == value)
        if first is not None:
            query = query.where(place >= first)
        if before is not None:
            query = query.where(place < before)
        return list(self._session.scalars(query.order_by(place, row.key)))

    def naming(self, column: str, key: str, limit: int) -> list[str]:
        """Return the ids of at most ``limit`` documents with an id among those in one of the columns of the kind.

        Such a column holds ids with a blank before and after each. There is no index of them: this reads every row.
        """
        named = getattr(self._row, column).contains(f" {key} ", autoescape=True)
        query = select(self._row.key).where(self._row.account_id == self._account_id, named)
        return list(self._session.scalars(query.order_by(self._row.key).limit(limit)))

    def documents(self, versions: Iterable[tuple[str, int]]) -> dict[tuple[str, int], dict[str, Any]]:
        """Return the documents of pairs of id and version, those that there are."""
        wanted, row = set(versions), self._row
        found = self._session.execute(self._among({key for key, _ in wanted}, row.key, row.version, row.document))
        there = {key: (version, document) for key, version, document in found}
        standing = {(key, version): document for key, (version, document) in there.items()}
        # The account was asked of documents: asked of versions, SQLite reads all that the account has.
        before = [(key, version) for key, version in wanted if key in there and version < there[key][0]]
        documents = {one: document for one, document in standing.items() if one in wanted}
        if before:
            was = self._version_row
            query = select(was.key, was.version, was.document).where(tuple_(was.key, was.version).in_(before))
            documents |= {(key, version): document for key, version, document in self._session.execute(query)}
        return documents

    def texts(self, records: Sequence[DocumentRecord]) -> dict[str, str]:
        """Return what documents as they stand say, by id, as the JSON that is stored."""
        query = self._among([one.id for one in records], self._row.key, cast(self._row.document, Text))
        return {key: text for key, text in self._session.connection().execute(query).fetchall()}

    def _among(self, keys: Collection[str], *columns: Any) -> Select[Any]:
        """Return the query of columns of some documents."""
        return select(*columns).where(self._row.account_id == self._account_id, self._row.key.in_(list(keys)))

    def versions(self, key: str) -> list[VersionRecord]:
        """Return every version of a document, oldest first."""
        was = self._version_row
        query = select(was.version, was.created_at).where(was.account_id == self._account_id, was.key == key)
        before = self._session.execute(query.order_by(was.version))
        stands = self._session.execute(self._among([key], self._row.version, self._row.said_at))
        return [VersionRecord(*one) for one in (*before, *stands)]

    def _count_months(self, keys: Sequence[str]) -> None:
        """Note that the months are written to in which some documents are."""
        if self._months is not None:
            self._months.count_up_of(self._row, self._row.key, keys)

    def _count_days(self, links: Iterable[Mapping[str, Link]]) -> None:
        """Note that the months are written to in which documents with these columns are from now on."""
        self._count_up(one["local_day"] for one in links if "local_day" in one)

    def _count_up(self, days: Iterable[Any]) -> None:
        if self._months is not None:
            self._months.count_up(self._row.__tablename__, months_of(day for day in days if isinstance(day, date)))

    def _keep_versions(self, *which: ColumnElement[bool]) -> None:
        """Keep what documents say, which are about to be given another version."""
        row, was = self._row, self._version_row
        names = ("key", "version", "account_id", "document", "created_at")
        said = select(row.key, row.version, row.account_id, row.document, row.said_at).where(*which)
        columns = [was.__mapper__.c[name].name for name in names]
        self._session.execute(insert(was).from_select(columns, said).execution_options(synchronize_session=False))

    def _mine(self) -> Select[Any]:
        return select(self._row).where(self._row.account_id == self._account_id)
