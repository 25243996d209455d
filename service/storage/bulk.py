"""Many rows into one table at once, at the speed of the driver."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from operator import itemgetter
from typing import Any

from sqlalchemy import insert
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
    processes = {
        place: process
        for place, name in enumerate(keys)
        if (process := columns[name].type.dialect_impl(connection.dialect).bind_processor(connection.dialect))
    }
    shared = [processes[place](value) if place in processes else value for place, value in enumerate(common.values())]
    own = [(place, process) for place, process in processes.items() if place >= len(shared)]
    plain = _processed(shared, own, rows)
    if compiled.positiontup is None:
        connection.exec_driver_sql(str(compiled), [dict(zip(keys, one, strict=True)) for one in plain])
    elif compiled.positiontup == keys:
        connection.exec_driver_sql(str(compiled), list(map(tuple, plain)))
    else:
        ordered = itemgetter(*[keys.index(name) for name in compiled.positiontup])
        connection.exec_driver_sql(str(compiled), list(map(ordered, plain)))


def _processed(
    shared: Sequence[Any], own: Sequence[tuple[int, _Process]], rows: Sequence[Sequence[Any]]
) -> list[list[Any]]:
    """Return rows as the driver is given them; what is the same thing in the row before is not made anew."""
    plain = [[*shared, *one] for one in rows]
    for place, process in own:
        before, made = plain[0][place], process(plain[0][place])
        for one in plain:
            value = one[place]
            if value is not before:
                before, made = value, process(value)
            one[place] = made
    return plain
