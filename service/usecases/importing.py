"""The work of an import: rows are judged and written, `ROWS` in a transaction, by a worker process.

Rows are judged ahead of their transaction, those of a large file by processes that do nothing else; one alone writes.
A transaction writes records, their changes, their lines of the report and how far the import is, or nothing of it. So
an import that was interrupted goes on after the last row that has its line.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import TypeVar

from service.errors import FileUnreadable, RecordLost, ServiceError, StoreConflict, StoreUnavailable, TooManyRows
from service.garbage import between_small_pieces, collecting_between_pieces
from service.imports.formats import FORMATS
from service.imports.mapping import ColumnMapping
from service.imports.rows import Cut
from service.jobs.ahead import Ahead
from service.jobs.spreading import processes_for
from service.jobs.worker import JobOutcome, JobTask, Progress
from service.storage.engine import open_engine
from service.storage.records import ROW_CONFLICT, ROW_CREATED, ROW_INVALID, ROW_UNCHANGED, ImportLine, ImportRun
from service.storage.unit import Store, UnitOfWork
from service.usecases.context import utc_now
from service.usecases.import_kinds.judging import Judge, Judged, Refused, Setup, get_ready, judge_elsewhere, listed
from service.usecases.import_kinds.kind import Ready, Stored, differing
from service.usecases.import_kinds.registry import IMPORT_KINDS
from tidecore.errors import Fault

#: Name of the kind of job that imports a file.
IMPORT = "import"
#: Rows of one transaction.
ROWS = 1000
#: Rows that are longer than so much together are more than one transaction, however few they are [bytes].
MOST_BYTES = 8 * 1024 * 1024
#: Smallest file whose rows are judged by processes of their own; to start these costs as much as some MB do [bytes].
LARGE = 16 * 1024 * 1024
#: Most of these processes: more than the one that writes can keep up with are of no use.
MOST_JUDGES = 4
#: How often a transaction is tried where another writer was at the same rows.
_MOST_TRIES = 5
#: Most fields named in which a row says something else than what is there.
_MOST_PATHS = 5

T = TypeVar("T")
Batch = list[Cut]


def import_rows(task: JobTask, _progress: Progress) -> JobOutcome:
    """Write the rows of an uploaded file into the store, from where an earlier attempt left off.

    The input holds ``import_id``, ``kind``, ``format``, ``mapping`` (of columns, or None), ``dry_run``, ``most_rows``
    and ``scopes``, those of the caller. The file lies in the spool folder under the id of the import.
    """
    path = Path(task.place.spool) / task.input["import_id"]
    if not path.is_file():
        raise RecordLost
    store = Store(open_engine(task.place.database_url))
    try:
        # Rows hold no cycles: what is left by those that do is collected a batch at a time.
        with collecting_between_pieces():
            return _Import(store, task).run(path)
    finally:
        store.close()


class _Import:
    def __init__(self, store: Store, task: JobTask) -> None:
        given = task.input
        self._store, self._claim, self._given, self._place = store, task.claim, given, task.place
        self._account_id = task.claim.account_id
        self._import_id, self._dry_run = given["import_id"], bool(given["dry_run"])
        self._kind = IMPORT_KINDS[given["kind"]]

    def run(self, path: Path) -> JobOutcome:
        """Do what is left of the import; FileUnreadable or TooManyRows after the rows before that are written."""
        with self._store.unit(self._account_id) as unit:
            record = unit.imports.get(self._import_id)
        if record is None:
            raise RecordLost
        mapping = self._given.get("mapping")
        said = None if mapping is None else ColumnMapping.parse(mapping)
        file = FORMATS[self._given["format"]].cut(path, self._kind.columns, said)
        setup = Setup(
            self._given["kind"],
            self._given["format"],
            None if mapping is None else json.dumps(mapping),
            self._account_id,
            frozenset(self._given["scopes"]),
            file.header,
            self._place.database_url,
        )
        self._judge = Judge(setup, self._store)
        batches = _Batches(islice(file.cuts, record.rows, None), self._given["most_rows"])
        # This one writes.
        others = processes_for(self._place.plan_workers) - 1 if path.stat().st_size >= LARGE else 0
        with Ahead(min(others, MOST_JUDGES), get_ready) as ahead:
            pieces = ((setup, batch) for batch in batches)
            for (_, batch), judged in ahead.run(judge_elsewhere, pieces, self._judge_here):
                if not self._take(batch, judged):
                    # The claim was lost: whoever has it now goes on, and what is returned here is not looked at.
                    break
                between_small_pieces()
        if batches.broken is not None:
            raise batches.broken
        return JobOutcome(result={"import_id": self._import_id})

    def _judge_here(self, piece: tuple[Setup, Batch]) -> Judged:
        return _persistently(lambda: self._judge.judge(piece[1]))

    def _take(self, batch: Batch, judged: Judged) -> bool:
        """Write a batch in one transaction; False where the claim was lost, and nothing was written."""
        return _persistently(lambda: self._try_to_take(batch, judged))

    def _try_to_take(self, batch: Batch, judged: Judged) -> bool:
        with self._store.unit(self._account_id, writes=True) as unit:
            now = utc_now()
            progress = {"done": batch[-1].number, "total": None, "note": "rows"}
            if not unit.jobs.report(self._claim, progress, now):
                return False
            rows = self._still(unit, batch, judged)
            unit.imports.advance(self._import_id, self._lines(unit, batch, rows, now))
            unit.commit()
            return True

    def _still(self, unit: UnitOfWork, batch: Batch, judged: Judged) -> Sequence[Ready | Refused]:
        """Return what rows say; those are judged anew that rest on what has changed since they were."""
        names = {name for name in judged.names if name is not None}
        rests = self._kind.resting(unit, names) if names else {}
        changed = {name for name in names if rests.get(name) != judged.rests.get(name)}
        if not changed:
            return judged.rows
        places = [place for place, name in enumerate(judged.names) if name in changed]
        again = self._judge.judge([batch[place] for place in places], unit)
        anew = dict(zip(places, again.rows, strict=True))
        return [anew.get(place, one) for place, one in enumerate(judged.rows)]

    def _lines(
        self, unit: UnitOfWork, batch: Batch, rows: Sequence[Ready | Refused], now: datetime
    ) -> Sequence[ImportLine | ImportRun]:
        """Write what is new in a batch, and return its lines of the report."""
        kind = self._kind
        ready = [one for one in rows if isinstance(one, Ready)]
        keys = list(map(kind.key, ready))
        there = kind.stored(unit, ready) if ready else {}
        if self._dry_run:
            said = unit.imports.told(self._import_id, sorted({one.client_ref for one in ready}))
            there = {kind.key_of(reference, told): Stored(None, told) for reference, told in said} | there
        new: dict[str, Ready] = {}
        for key, one in zip(keys, ready, strict=True):
            if key not in there:
                new.setdefault(key, one)
        ids: Sequence[str | None] = [None] * len(new)
        if not self._dry_run:
            written = kind.write(unit, list(new.values()), now)
            if len(new) == len(rows):
                # Nearly always all rows are new.
                return [ImportRun(batch[0].number, [one.client_ref for one in ready], written)]
            ids = written
        made = dict(zip(new, ids, strict=True))
        key_of = iter(keys)
        return [
            ImportLine(cut.number, one.client_ref, ROW_INVALID, None, one.faults)
            if isinstance(one, Refused)
            else self._line(cut.number, one, next(key_of), there, new, made)
            for cut, one in zip(batch, rows, strict=True)
        ]

    def _line(
        self,
        number: int,
        one: Ready,
        key: str,
        there: Mapping[str, Stored],
        new: Mapping[str, Ready],
        made: Mapping[str, str | None],
    ) -> ImportLine:
        first = new.get(key)
        if first is one:
            told = self._kind.told(one) if self._dry_run else None
            return ImportLine(number, one.client_ref, ROW_CREATED, made[key], (), told)
        if first is None:
            before = there[key]
            document = None if before.document is None else self._kind.said_by(before.document)
        else:
            before, document = Stored(made[key], self._kind.told(first)), self._kind.said(first)
        if self._kind.same(self._kind.told(one), before.told):
            return ImportLine(number, one.client_ref, ROW_UNCHANGED, before.thing_id, ())
        holder = "an earlier row" if before.thing_id is None else before.thing_id
        paths = [] if document is None else differing(self._kind.said(one), document)
        of = "" if not paths else f" in {', '.join(paths[:_MOST_PATHS])}"
        of += f" and {len(paths) - _MOST_PATHS} more" if len(paths) > _MOST_PATHS else ""
        fault = Fault(
            "client_ref", f"is that of {holder}, which says something else{of}", "the same content, or another"
        )
        return ImportLine(number, one.client_ref, ROW_CONFLICT, before.thing_id, listed([fault]))


def _persistently(work: Callable[[], T]) -> T:
    """Do what is of one transaction, and do it again where another was in its way."""
    tries = 0
    while True:
        tries += 1
        try:
            return work()
        except (StoreConflict, StoreUnavailable):
            # Another request has made a thing of the same name since we looked, and then it is found now; or the
            # store is busy, and less so in a moment.
            if tries == _MOST_TRIES:
                raise
            time.sleep(0.05 * tries)


class _Batches:
    """Rows `ROWS` at a time, fewer of very long ones.

    Where the file breaks or has too many, those before that, and then ``broken`` says how.
    """

    def __init__(self, cuts: Iterator[Cut], most: int) -> None:
        self._cuts, self._most = cuts, most
        self.broken: ServiceError | None = None

    def __iter__(self) -> Iterator[Batch]:
        while self.broken is None:
            batch: Batch = []
            size = 0
            try:
                for cut in islice(self._cuts, ROWS):
                    batch.append(cut)
                    size += cut.size
                    if size >= MOST_BYTES:
                        break
            except FileUnreadable as error:
                self.broken = error
            if batch and batch[-1].number > self._most:
                batch = [cut for cut in batch if cut.number <= self._most]
                self.broken = TooManyRows(self._most)
            if not batch:
                return
            yield batch
