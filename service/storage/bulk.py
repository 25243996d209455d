"""Many rows into one table at once, at the speed of the driver."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import repeat
from typing import Any

from sqlalchemy import Dialect, insert
from sqlalchemy.orm import Session

from service.storage.tables import Table

#: Turns a value into what the driver is given.
_Process = Callable[[Any], Any]


def insert_many(
    session: Session, row: type[Table], common: Mapping[str, Any], names: Sequence[str], rows: Sequence[Sequence[Any]]
) -> None:
    """Insert rows, each with the ``common`` values and its own of the columns ``names``.

    The session composes statement and parameters row by row, which costs more than the database does; here the
    statement is composed once, what rows have in common is prepared once, and the rest column by column.
    """
    if not rows:
        return
    connection = session.connection()
    keys = (*common, *names)
    statement, order = _statement(row, connection.dialect, keys)
    processes = [_process(row, connection.dialect, name) for name in keys]
    shared = [
        value if process is None else process(value)
        for value, process in zip(common.values(), processes[: len(common)], strict=True)
    ]
    own = [
        values if process is None else _processed(process, values)
        for values, process in zip(zip(*rows, strict=True), processes[len(common) :], strict=True)
    ]
    columns = [*(repeat(value, len(rows)) for value in shared), *own]
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


def _processed(process: _Process, values: Sequence[Any]) -> Iterator[Any]:
    """Give values as the driver is given them; what is the same thing in the row before is not made anew."""
    before = values[0]
    made = process(before)
    for value in values:
        if value is not before:
            before, made = value, process(value)
        yield made
