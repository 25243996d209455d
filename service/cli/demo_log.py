"""The invented log of the demo coast: trips and a diary, taken in once by the kinds of imports."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from service.errors import DocumentInvalid
from service.imports.formats import FORMATS, MAPPED
from service.security import Caller
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.import_kinds.judging import Judge, Refused, Setup
from service.usecases.import_kinds.kind import Ready
from service.usecases.import_kinds.registry import IMPORT_KINDS
from service.usecases.stale_joins import queue_join
from tidecore.errors import Fault

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
    file = FORMATS[file_format].cut(path, kind.columns, None)
    setup = Setup(kind_name, file_format, None, caller.account_id, caller.scopes, file.header)
    cuts = list(file.cuts)
    rows = Judge(setup, context.store).judge(cuts).rows
    faults = [
        Fault(f"{path.name}, row {cut.number}: {fault['field']}", fault["problem"], fault["expected"])
        for cut, row in zip(cuts, rows, strict=True)
        if isinstance(row, Refused)
        for fault in row.faults
    ]
    ready = [row for row in rows if isinstance(row, Ready)]
    with context.store.unit(caller.account_id, writes=True) as unit:
        if kept(unit).by_references([row.client_ref for row in ready]):
            return 0
        if faults:
            raise DocumentInvalid(faults)
        made = kind.write(unit, ready, context.clock())
        queue_join(unit, context.clock())
        unit.commit()
    context.runner.wake()
    return len(made)
