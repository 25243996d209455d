"""What every table is mapped by: names of constraints, instants, the base classes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any, ClassVar

from sqlalchemy import JSON, Date, DateTime, Dialect, ForeignKey, Integer, MetaData, String, TypeDecorator
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Day(TypeDecorator[date]):
    """A day of the calendar."""

    impl = Date
    cache_ok = True

    def bind_processor(self, dialect: Dialect) -> Callable[[date | None], Any] | None:
        """Return what writes one: for SQLite the text that SQLAlchemy stores, at once and not field by field."""
        return _day_as_text if dialect.name == "sqlite" else super().bind_processor(dialect)


class UtcDateTime(TypeDecorator[datetime]):
    """An instant: aware in UTC in Python, without offset in the database."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a naive value; store UTC."""
        return None if value is None else _in_utc(value).replace(tzinfo=None)

    def bind_processor(self, dialect: Dialect) -> Callable[[datetime | None], Any] | None:
        """Return what writes one: for SQLite the text that SQLAlchemy stores, at once and not field by field."""
        return _as_text if dialect.name == "sqlite" else super().bind_processor(dialect)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the value as aware UTC."""
        return None if value is None else value.replace(tzinfo=UTC)


class JsonText(TypeDecorator[str]):
    """The text of a JSON column that is written already."""

    impl = JSON
    cache_ok = True

    def bind_processor(self, dialect: Dialect) -> None:
        """Leave it as it is."""


def _in_utc(value: datetime) -> datetime:
    if value.tzinfo is None:
        raise ValueError("a naive datetime cannot be stored; expected an aware one")
    return value if value.tzinfo is UTC else value.astimezone(UTC)


def _day_as_text(value: date | None) -> str | None:
    return None if value is None else value.isoformat()


def _as_text(value: datetime | None) -> str | None:
    return None if value is None else _in_utc(value).isoformat(" ", "microseconds")[: -len("+00:00")]


ID = String(30)
NAME = String(200)


class Table(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        datetime: UtcDateTime(),
        date: Day(),
        dict[str, Any]: JSON(none_as_null=True),
    }


class DocumentRow(Table):
    """Base of the tables of versioned documents, each as it stands; what it said before is in `DocumentVersionRow`."""

    __abstract__ = True

    key: Mapped[str]
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    external_ref: Mapped[str | None] = mapped_column(NAME)
    version: Mapped[int] = mapped_column(Integer)
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    #: When this version was written; a new reference alone is none.
    said_at: Mapped[datetime]
    document: Mapped[dict[str, Any]] = mapped_column(deferred=True)


class DocumentVersionRow(Table):
    """Base of the tables of one version that a document had before; never changed once written."""

    __abstract__ = True

    key: Mapped[str]
    version: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    document: Mapped[dict[str, Any]]
    created_at: Mapped[datetime]
