"""Many rows into one table at once, at the speed of the driver."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import repeat
from types import MappingProxyType
from typing import Any

from sqlalchemy import ARRAY, ColumnElement, Dialect, String, any_, func, insert, literal, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from service.storage.plain import write_json
from service.storage.tables import Table

#: Turns a value into what the driver is given.
_Process = Callable[[Any], Any]


def among(session: Session, column: InstrumentedAttribute[Any], texts: Collection[str]) -> ColumnElement[bool]:
    """Return the condition that a column has one of many texts, which are one parameter.

    With a parameter for each, putting the statement together costs more than the database does.
    """
    if session.get_bind().dialect.name == "postgresql":
        return column == any_(literal(list(texts), ARRAY(String)))
    return column.in_(select(func.json_each(write_json(list(texts))).table_valued("value").c.value))


def insert_many(
    session: Session, row: type[Table], common: Mapping[str, Any], names: Sequence[str], rows: Sequence[Sequence[Any]]
) -> None:
    """Insert rows, each with the ``common`` values and its own of the columns ``names``."""
    if rows:
        insert_columns(session, row, common, dict(zip(names, zip(*rows, strict=True), strict=True)))


def insert_columns(
    session: Session,
    row: type[Table],
    common: Mapping[str, Any],
    own: Mapping[str, Sequence[Any]],
    texts: Mapping[str, Sequence[str]] = MappingProxyType({}),
) -> None:
    """Insert rows, each with the ``common`` values, and its ``own`` of columns that have one a row.

    ``texts`` are columns of JSON whose values are written already. The session composes statement and parameters row by
    row, which costs more than the database does; here the statement is composed once, what rows have in common is
    prepared once, and the rest column by column.
    """
    connection = session.connection()
    keys = (*common, *own, *texts)
    count = len(next(iter(own.values())))
    statement, order = _statement(row, connection.dialect, keys)

    def process(name: str) -> _Process | None:
        return _process(row, connection.dialect, name)

    shared = [_prepared(process(name), value) for name, value in common.items()]
    prepared = [values if (its := process(name)) is None else _processed(its, values) for name, values in own.items()]
    columns = [*(repeat(value, count) for value in shared), *prepared, *texts.values()]
    if order is None:
        plain = [dict(zip(keys, one, strict=True)) for one in zip(*columns, strict=True)]
        connection.exec_driver_sql(statement, plain)
    else:
        connection.exec_driver_sql(statement, list(zip(*[columns[place] for place in order], strict=True)))


@lru_cache(maxsize=128)
def _statement(row: type[Table], dialect: Dialect, keys: tuple[str, ...]) -> tuple[str, list[int] | None]:
    """Return a statement, and the places of its parameters among ``keys``; None where it has them by name."""
    compiled = insert(row).compile(dialect=dialect, column_keys=list(keys))
    order = compiled.positiontup
    return str(compiled), None if order is None else [keys.index(name) for name in order]


@lru_cache(maxsize=512)
def _process(row: type[Table], dialect: Dialect, name: str) -> _Process | None:
    return row.__table__.c[name].type.dialect_impl(dialect).bind_processor(dialect)


def _prepared(process: _Process | None, value: Any) -> Any:
    return value if process is None else process(value)


def _processed(process: _Process, values: Sequence[Any]) -> Iterator[Any]:
    """Give values as the driver is given them; what is the same thing in the row before is not made anew."""
    before = values[0]
    made = process(before)
    for value in values:
        if value is not before:
            before, made = value, process(value)
        yield made
