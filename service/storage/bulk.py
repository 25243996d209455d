"""Many rows into one table at once, at the speed of the driver."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
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
    statement is composed once, and what rows have in common is prepared once.
    """
    if not rows:
        return
    connection, columns = session.connection(), row.__table__.c
    keys = [*common, *names]
    compiled = insert(row).compile(dialect=connection.dialect, column_keys=keys)
    processes = [_process_of(columns[name].type, connection.dialect) for name in keys]
    shared = [process(value) for process, value in zip(processes, common.values(), strict=False)]
    own = processes[len(shared) :]
    plain = [(*shared, *[process(value) for process, value in zip(own, one, strict=True)]) for one in rows]
    if compiled.positiontup is None:
        connection.exec_driver_sql(str(compiled), [dict(zip(keys, one, strict=True)) for one in plain])
    else:
        places = [keys.index(name) for name in compiled.positiontup]
        connection.exec_driver_sql(str(compiled), [tuple([one[place] for place in places]) for one in plain])


def _process_of(kind: Any, dialect: Dialect) -> _Process:
    found: _Process | None = kind.dialect_impl(dialect).bind_processor(dialect)
    return _as_it_is if found is None else found


def _as_it_is(value: Any) -> Any:
    return value
