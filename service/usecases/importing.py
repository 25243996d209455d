"""The work of an import: rows are judged and written, `ROWS` in a transaction, by a worker process.

A transaction writes records, their changes, their lines of the report and how far the import is, or nothing of it. So
an import that was interrupted goes on after the last row that has its line.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import TypeAdapter, ValidationError

from service.errors import (
    DocumentInvalid,
    FileUnreadable,
    RecordLost,
    ServiceError,
    StoreConflict,
    StoreUnavailable,
    TooManyRows,
)
from service.imports.formats import MAPPED, read_rows
from service.imports.mapping import ColumnMapping
from service.imports.rows import Row
from service.jobs.worker import JobOutcome, JobTask, Progress
from service.security import Caller
from service.storage.engine import open_engine
from service.storage.records import ROW_CONFLICT, ROW_CREATED, ROW_INVALID, ROW_UNCHANGED, ImportLine
from service.storage.unit import Store, UnitOfWork
from service.usecases.context import utc_now
from service.usecases.import_kinds.kind import Candidate, Stored
from service.usecases.import_kinds.known import Known
from service.usecases.import_kinds.registry import IMPORT_KINDS
from service.usecases.references import ExternalRef
from tidecore.errors import CoreError, Fault, InvalidInput, UnknownName

#: Name of the kind of job that imports a file.
IMPORT = "import"
#: Rows of one transaction.
ROWS = 1000
#: Faults of one row that are listed in the report; more are counted.
MOST_FAULTS = 20
#: How often a transaction is tried where another writer was at the same rows.
_MOST_TRIES = 5

_REFERENCE: TypeAdapter[str] = TypeAdapter(ExternalRef)


class _Wrong(NamedTuple):
    """What is wrong with a row."""

    faults: Sequence[Fault]


#: What a row says, or what is wrong with it.
_Verdict = Candidate[Any] | _Wrong


def import_rows(task: JobTask, _progress: Progress) -> JobOutcome:
    """Write the rows of an uploaded file into the store, from where an earlier attempt left off.

    The input holds ``import_id``, ``kind``, ``format``, ``mapping`` (of columns, or None), ``dry_run``, ``most_rows``
    and ``scopes``, those of the caller. The file lies in the spool folder under the id of the import.
    """
    path = Path(task.place.spool) / task.input["import_id"]
    if not path.is_file():
        raise RecordLost
    store = Store(open_engine(task.place.database_url))
    # What is there now stays, and rows hold no cycles: what is left by those that do is collected a batch at a time.
    gc.freeze()
    gc.disable()
    try:
        return _Import(store, task).run(path)
    finally:
        gc.enable()
        gc.unfreeze()
        store.close()


class _Import:
    def __init__(self, store: Store, task: JobTask) -> None:
        given = task.input
        self._store, self._claim, self._given = store, task.claim, given
        self._import_id, self._dry_run = given["import_id"], bool(given["dry_run"])
        self._kind = IMPORT_KINDS[given["kind"]]
        self._caller = Caller(task.claim.account_id, frozenset(given["scopes"]))
        mapping = given.get("mapping")
        self._mapping = None if mapping is None else ColumnMapping.parse(mapping)

    def run(self, path: Path) -> JobOutcome:
        """Do what is left of the import; FileUnreadable or TooManyRows after the rows before that are written."""
        with self._store.unit(self._caller.account_id) as unit:
            record = unit.imports.get(self._import_id)
        if record is None:
            raise RecordLost
        found = read_rows(self._given["format"], path, self._kind.columns, self._mapping)
        rows = _limited(found, self._given["most_rows"])
        for _ in islice(rows, record.rows):
            """These have their lines in the report already."""
        for batch in _batches(rows):
            if not self._take(batch, self._judge_all(batch)):
                # The claim was lost: whoever has it now goes on, and what is returned here is not looked at.
                break
            gc.collect()
        return JobOutcome(result={"import_id": self._import_id})

    def _judge_all(self, batch: Sequence[Row]) -> Sequence[_Verdict]:
        """Return what rows say: all at once where all are right, else one by one."""
        tabular = self._given["format"] == MAPPED
        batch = self._kind.prepare(batch, Known(self._store, self._caller.account_id, self._mapping, tabular))
        if not any(row.faults for row in batch):
            found = self._kind.parse_many([row.document for row in batch], self._caller)
            if found is not None:
                return found
        return [self._judge(row) for row in batch]

    def _judge(self, row: Row) -> _Verdict:
        """Return what a row says; nothing of the store is needed for it."""
        if row.faults:
            return _Wrong(row.faults)
        try:
            return self._kind.parse(row.document, self._caller)
        except (CoreError, ServiceError) as error:
            return _Wrong(_faults_of(error))

    def _take(self, batch: Sequence[Row], judged: Sequence[_Verdict]) -> bool:
        """Write a batch in one transaction; False where the claim was lost, and nothing was written."""
        tries = 0
        while True:
            tries += 1
            try:
                with self._store.unit(self._caller.account_id, writes=True) as unit:
                    now = utc_now()
                    progress = {"done": batch[-1].number, "total": None, "note": "rows"}
                    if not unit.jobs.report(self._claim, progress, now):
                        return False
                    unit.imports.advance(self._import_id, self._lines(unit, batch, judged, now))
                    unit.commit()
                    return True
            except (StoreConflict, StoreUnavailable):
                # Another request has made a thing of the same name since we looked, and then it is found now; or the
                # store is busy, and less so in a moment.
                if tries == _MOST_TRIES:
                    raise
                time.sleep(0.05 * tries)

    def _lines(
        self, unit: UnitOfWork, batch: Sequence[Row], judged: Sequence[_Verdict], now: datetime
    ) -> list[ImportLine]:
        """Write what is new in a batch, and return its lines of the report."""
        settled = self._settle(unit, judged)
        kind = self._kind
        candidates = [one for one in settled if not isinstance(one, _Wrong)]
        keys = list(map(kind.key, candidates))
        there = kind.stored(unit, candidates)
        if self._dry_run:
            said = unit.imports.told(self._import_id, sorted({one.client_ref for one in candidates}))
            there = {kind.key_of(reference, told): Stored(None, told) for reference, told in said} | there
        new: dict[str, Candidate[Any]] = {}
        for key, candidate in zip(keys, candidates, strict=True):
            if key not in there:
                new.setdefault(key, candidate)
        ids: list[Any] = [None] * len(new) if self._dry_run else kind.write(unit, list(new.values()), now)
        made = dict(zip(new, ids, strict=True))
        key_of = iter(keys)
        return [
            _refused(row, one)
            if isinstance(one, _Wrong)
            else self._line(row.number, one, next(key_of), there, new, made)
            for row, one in zip(batch, settled, strict=True)
        ]

    def _settle(self, unit: UnitOfWork, judged: Sequence[_Verdict]) -> list[_Verdict]:
        """Return what rows say with what they rest on, or what is wrong with that."""
        found = iter(self._kind.settle(unit, [one for one in judged if not isinstance(one, _Wrong)]))
        settled = (one if isinstance(one, _Wrong) else next(found) for one in judged)
        return [_Wrong(one.faults) if isinstance(one, InvalidInput | DocumentInvalid) else one for one in settled]

    def _line(
        self,
        number: int,
        candidate: Candidate[Any],
        key: str,
        there: Mapping[str, Stored],
        new: Mapping[str, Candidate[Any]],
        made: Mapping[str, str | None],
    ) -> ImportLine:
        reference, first = candidate.client_ref, new.get(key)
        if first is candidate:
            told = self._kind.told(candidate.said) if self._dry_run else None
            return ImportLine(number, reference, ROW_CREATED, made[key], (), told)
        before = there[key] if first is None else Stored(made[key], self._kind.told(first.said))
        if self._kind.same(self._kind.told(candidate.said), before.told):
            return ImportLine(number, reference, ROW_UNCHANGED, before.thing_id, ())
        holder = "an earlier row" if before.thing_id is None else before.thing_id
        fault = Fault("client_ref", f"is that of {holder}, which says something else", "the same content, or another")
        return ImportLine(number, reference, ROW_CONFLICT, before.thing_id, _listed([fault]))


def _limited(rows: Iterator[Row], most: int) -> Iterator[Row]:
    for row in rows:
        if row.number > most:
            raise TooManyRows(most)
        yield row


def _batches(rows: Iterator[Row]) -> Iterator[list[Row]]:
    """Yield rows `ROWS` at a time; where the file breaks, first those before that, then the error."""
    broken: ServiceError | None = None
    while broken is None:
        batch: list[Row] = []
        try:
            for row in islice(rows, ROWS):
                batch.append(row)
        except (FileUnreadable, TooManyRows) as error:
            broken = error
        if not batch:
            break
        yield batch
    if broken is not None:
        raise broken


def _faults_of(error: CoreError | ServiceError) -> Sequence[Fault]:
    if isinstance(error, InvalidInput | DocumentInvalid):
        return error.faults
    if isinstance(error, UnknownName):
        return (Fault(error.kind, f"{error.name!r} is not known", f"one of: {', '.join(error.known[:40])}"),)
    return (Fault("row", str(error), "a row that POST would take"),)


def _listed(faults: Sequence[Fault]) -> list[dict[str, str]]:
    """Return faults as the report keeps them."""
    kept = list(faults[:MOST_FAULTS])
    if len(faults) > MOST_FAULTS:
        kept.append(Fault("row", f"has {len(faults) - MOST_FAULTS} more faults", "fewer"))
    return [{"field": one.field, "problem": one.problem, "expected": one.expected} for one in kept]


def _refused(row: Row, wrong: _Wrong) -> ImportLine:
    return ImportLine(row.number, _reference_of(row), ROW_INVALID, None, _listed(wrong.faults))


def _reference_of(row: Row) -> str | None:
    """Return what the account calls a row that is wrong otherwise."""
    try:
        return _REFERENCE.validate_python(row.document.get("client_ref"))
    except ValidationError:
        return None
