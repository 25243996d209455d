"""The invented log of the demo coast: trips and a diary, taken in once by the kinds of imports."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from service.errors import DocumentInvalid
from service.imports.formats import MAPPED, read_rows
from service.security import Caller
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.import_kinds.known import Known
from service.usecases.import_kinds.registry import IMPORT_KINDS
from service.usecases.stale_joins import queue_join
from tidecore.errors import Fault, InvalidInput

#: Files of the log: format and kind of import, and where what they hold is kept.
_FILES: tuple[tuple[str, str, str, Callable[[UnitOfWork], DocumentRepository]], ...] = (
    ("trips.ndjson", "ndjson", "trip", lambda unit: unit.trips),
    ("diary.csv", MAPPED, "diary_row", lambda unit: unit.diary_rows),
)


def load_log(context: Context, caller: Caller, folder: Path) -> int:
    """Take in each file of a log of which nothing is in the store yet, and return how many things that were.

    Raises
    ------
    DocumentInvalid, FileUnreadable
        If a file cannot be read, or a row of it is none.
    """
    return sum(
        _load(context, caller, folder / name, file_format, kind, kept)
        for name, file_format, kind, kept in _FILES
        if (folder / name).is_file()
    )


def _load(
    context: Context,
    caller: Caller,
    path: Path,
    file_format: str,
    kind_name: str,
    kept: Callable[[UnitOfWork], DocumentRepository],
) -> int:
    kind = IMPORT_KINDS[kind_name]
    rows = list(read_rows(file_format, path, kind.columns, None))
    with context.store.unit(caller.account_id) as unit:
        if kept(unit).by_references([str(row.document.get("client_ref")) for row in rows]):
            return 0
    rows = list(kind.prepare(rows, Known(context.store, caller.account_id, None, tabular=file_format == MAPPED)))
    faults = [_placed(path, row.number, one) for row in rows for one in row.faults]
    candidates = []
    for row in rows:
        try:
            candidates.append(kind.parse(row.document, caller))
        except InvalidInput as error:
            faults += [_placed(path, row.number, one) for one in error.faults]
    with context.store.unit(caller.account_id, writes=True) as unit:
        settled = []
        for number, one in enumerate(kind.settle(unit, candidates), 1):
            if isinstance(one, InvalidInput | DocumentInvalid):
                faults += [_placed(path, number, fault) for fault in one.faults]
            else:
                settled.append(one)
        if faults:
            raise DocumentInvalid(faults)
        made = kind.write(unit, settled, context.clock())
        queue_join(unit, context.clock())
        unit.commit()
    context.runner.wake()
    return len(made)


def _placed(path: Path, row: int, fault: Fault) -> Fault:
    return Fault(f"{path.name}, row {row}: {fault.field}", fault.problem, fault.expected)
