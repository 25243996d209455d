"""Imports: a file of rows comes in, a worker writes them, and the report says what became of each."""

from __future__ import annotations

import contextlib
import shutil
from dataclasses import dataclass
from pathlib import Path

from service.errors import DocumentInvalid, NotFound, StoreConflict
from service.imports.formats import MAPPED
from service.imports.mapping import ColumnMapping
from service.security import Caller
from service.storage.identifiers import is_id, new_id
from service.storage.records import ImportLine, ImportRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.fits import Upload
from service.usecases.import_kinds.registry import IMPORT_KINDS
from service.usecases.importing import IMPORT
from service.usecases.jobs import active_job, queue_job
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page, one_page
from tidecore.errors import Fault


@dataclass(frozen=True, slots=True)
class ImportRequest:
    """What the rows of a file are, how they are written, and whether they are only to be judged.

    ``mapping`` leads the columns of a CSV of somebody else to ours.
    """

    kind: str
    file_format: str
    dry_run: bool
    mapping: ColumnMapping | None = None


@dataclass(frozen=True, slots=True)
class LinePage:
    """Lines of a report; ``after`` is the row to go on from, None on the last page."""

    lines: list[ImportLine]
    after: int | None


def request_import(
    context: Context,
    caller: Caller,
    upload: Upload,
    request: ImportRequest,
    keep: Keep[ImportRecord] = keep_nothing,
) -> ImportRecord:
    """Take a file and queue its import; the same once more while that is active is the same import.

    Raises
    ------
    DocumentInvalid
        If the file is empty, or the mapping does not go with it.
    TooManyJobs
        If the account has as many jobs waiting as it may.
    """
    if upload.size == 0:
        raise DocumentInvalid(Fault("body", "is empty", "the bytes of a file of rows"))
    _check_mapping(request)
    try:
        found = _take(context, caller, upload, request, keep)
    except StoreConflict:
        # Another process has queued the same in the meantime: then it is found now.
        found = _take(context, caller, upload, request, keep)
    context.runner.wake()
    return found


def _check_mapping(request: ImportRequest) -> None:
    if request.mapping is None:
        return
    if request.file_format != MAPPED:
        raise DocumentInvalid(Fault("mapping", f"is given of {request.file_format}", "text/csv, or no mapping"))
    found = list(request.mapping.strangers(IMPORT_KINDS[request.kind].columns))
    if found:
        steps = [(".".join(("mapping", *map(str, flaw.path))), flaw) for flaw in found]
        raise DocumentInvalid([Fault(field, flaw.problem, flaw.expected) for field, flaw in steps])


def _take(
    context: Context, caller: Caller, upload: Upload, request: ImportRequest, keep: Keep[ImportRecord]
) -> ImportRecord:
    given = {
        "kind": request.kind,
        "format": request.file_format,
        "dry_run": request.dry_run,
    }
    mapping = None if request.mapping is None else request.mapping.to_document()
    work = {**given, "mapping": mapping, "scopes": sorted(caller.scopes), "most_rows": context.settings.max_import_rows}
    content = {**work, "body_sha256": upload.sha256}
    with context.store.unit(caller.account_id, writes=True) as unit:
        active = active_job(unit, IMPORT, content)
        if active is not None:
            same = unit.imports.by_job(active.job_id)
            assert same is not None, "a job of an import and its import are written together"
            keep(unit, same)
            unit.commit()
            return same
        import_id = new_id("imp")
        job = queue_job(context, unit, IMPORT, content, {"import_id": import_id, **work})
        file = {"body_sha256": upload.sha256, "body_bytes": upload.size}
        found = unit.imports.add(import_id, job_id=job.job_id, given={**given, **file}, now=context.clock())
        path = _spool(context, import_id)
        try:
            keep(unit, found)
            shutil.move(upload.path, path)
            unit.commit()
        except BaseException:
            with contextlib.suppress(FileNotFoundError):
                path.unlink()
            raise
    return found


def get_import(context: Context, caller: Caller, import_id: str) -> ImportRecord:
    """Return an import; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return _find(unit, import_id)


def list_imports(context: Context, caller: Caller, after: str | None, limit: int) -> Page[ImportRecord]:
    """Return a page of imports."""
    with context.store.unit(caller.account_id) as unit:
        return one_page(lambda most: unit.imports.page(after, most), limit, lambda one: one.import_id)


def list_lines(
    context: Context, caller: Caller, import_id: str, status: str | None, after: int, limit: int
) -> LinePage:
    """Return a page of the report of an import, the lines of a ``status`` where given; NotFound as `get_import`."""
    with context.store.unit(caller.account_id) as unit:
        _find(unit, import_id)
        found = unit.imports.lines(import_id, status, after, limit + 1)
    shown = found[:limit]
    return LinePage(shown, shown[-1].row if len(found) > limit else None)


def _find(unit: UnitOfWork, import_id: str) -> ImportRecord:
    found = unit.imports.get(import_id) if is_id(import_id) else None
    if found is None:
        raise NotFound("import", import_id)
    return found


def _spool(context: Context, import_id: str) -> Path:
    folder = context.settings.spool_folder
    folder.mkdir(parents=True, exist_ok=True)
    return folder / import_id
