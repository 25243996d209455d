"""What every table is mapped by: names of constraints, instants, the base classes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, ClassVar

from sqlalchemy import JSON, DateTime, Dialect, ForeignKey, Integer, MetaData, String, TypeDecorator
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class UtcDateTime(TypeDecorator[datetime]):
    """An instant: aware in UTC in Python, without offset in the database."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a naive value; store UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a naive datetime cannot be stored; expected an aware one")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the value as aware UTC."""
        return None if value is None else value.replace(tzinfo=UTC)


ID = String(30)
NAME = String(200)


class Table(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map: ClassVar[dict[Any, Any]] = {datetime: UtcDateTime(), dict[str, Any]: JSON(none_as_null=True)}


class DocumentRow(Table):
    """Base of the tables of versioned documents; what a document says is in its `DocumentVersionRow`."""

    __abstract__ = True

    key: Mapped[str]
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    external_ref: Mapped[str | None] = mapped_column(NAME)
    version: Mapped[int] = mapped_column(Integer)
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]


class DocumentVersionRow(Table):
    """Base of the tables of one version of a document; never changed once written."""

    __abstract__ = True

    key: Mapped[str]
    version: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    document: Mapped[dict[str, Any]]
    created_at: Mapped[datetime]
