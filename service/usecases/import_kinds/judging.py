"""What rows of an import say, found out ahead of the transaction that writes them, in this process or in another.

Nothing is written here. What rows rest on is told with them, so that whoever writes them can see whether it still
stands, and have those judged again where it does not.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

from pydantic import TypeAdapter, ValidationError

from service.errors import ServiceError
from service.garbage import between_small_pieces, collect_between_pieces
from service.imports.formats import FORMATS, MAPPED
from service.imports.mapping import ColumnMapping
from service.imports.rows import Cut, Row
from service.security import Caller
from service.storage.engine import open_engine
from service.storage.unit import Store, UnitOfWork
from service.usecases.import_kinds.drafts import Left, faults_of, told, what_is_right
from service.usecases.import_kinds.kind import Candidate, Ready, Wrong
from service.usecases.import_kinds.known import Known
from service.usecases.import_kinds.registry import IMPORT_KINDS
from service.usecases.references import ExternalRef
from tidecore.errors import CoreError, Fault

#: Faults of one row that are listed in the report; more are counted.
MOST_FAULTS = 20

_REFERENCE: TypeAdapter[str] = TypeAdapter(ExternalRef)


@dataclass(frozen=True, slots=True)
class Setup:
    """How the rows of one file are read, and for whom; plain data that other processes are told.

    ``mapping`` is that of columns, as JSON; ``header`` that of a table.
    """

    kind: str
    file_format: str
    mapping: str | None
    account_id: str
    scopes: frozenset[str]
    header: tuple[str, ...] = ()
    database_url: str = field(default="", repr=False)


class Refused(NamedTuple):
    """A row that cannot be written: what the account calls it, and what is wrong with it, as the report has it."""

    client_ref: str | None
    faults: list[dict[str, str]]


class Judged(NamedTuple):
    """What some rows say, the name that each has for what it rests on, and what that was when it was looked at."""

    rows: list[Ready | Refused]
    names: list[str | None]
    rests: Mapping[str, Any]


class Judge:
    """Finds out what rows say."""

    def __init__(self, setup: Setup, store: Store) -> None:
        """Look things up in ``store``."""
        self._store, self._account_id = store, setup.account_id
        self.kind = IMPORT_KINDS[setup.kind]
        self._caller = Caller(setup.account_id, setup.scopes)
        self._mapping = None if setup.mapping is None else ColumnMapping.parse(json.loads(setup.mapping))
        self._tabular = setup.file_format == MAPPED
        self._decode = FORMATS[setup.file_format].decoder(setup.header, self.kind.columns, self._mapping)

    def judge(self, cuts: Sequence[Cut], unit: UnitOfWork | None = None) -> Judged:
        """Return what rows say; looked up in ``unit``, or as the store is now."""
        rows = self._decode(cuts)
        rows = list(self.kind.prepare(rows, Known(self._store, self._account_id, self._mapping, self._tabular)))
        parsed = self._parse(rows)
        right = {place: one for place, one in enumerate(parsed) if isinstance(one, Candidate)}
        # Of the others, what is left without that which is wrong: more may stand against it.
        left = {place: one.left.row for place, one in enumerate(parsed) if isinstance(one, _Unfit) and one.left}
        own = {place: self.kind.name_of(one) for place, one in (right | left).items()}
        names = {name for name in own.values() if name is not None}
        with self._store.unit(self._account_id) if unit is None else nullcontext(unit) as looked_up:
            rests = self.kind.resting(looked_up, names) if names else {}
            settled: dict[int, Ready | Wrong] = {}
            for some in (right, left):
                found = self.kind.settle(looked_up, list(some.values()), rests) if some else ()
                settled.update(zip(some, found, strict=True))
        judged = [
            _judged(row, one, settled.get(place)) for place, (row, one) in enumerate(zip(rows, parsed, strict=True))
        ]
        return Judged(judged, [own.get(place) for place in range(len(rows))], rests)

    def _parse(self, rows: Sequence[Row]) -> Sequence[Candidate[Any] | _Unfit]:
        """Return what rows say: all at once where all are right, else one by one."""
        if not any(row.faults for row in rows):
            found = self.kind.parse_many([row.document for row in rows], self._caller)
            if found is not None:
                return found
        return list(map(self._parse_one, rows))

    def _parse_one(self, row: Row) -> Candidate[Any] | _Unfit:
        if row.broken:
            return _Unfit((), None)
        try:
            found = self.kind.parse(row.document, self._caller)
        except (CoreError, ServiceError) as error:
            faults = faults_of(error)
            return _Unfit(faults, what_is_right(self.kind, row, [one.field for one in faults], self._caller))
        return _Unfit((), Left(found, ())) if row.faults else found


class _Unfit(NamedTuple):
    """A row that makes no record: what is wrong with its document, and what is left without that."""

    faults: Sequence[Fault]
    left: Left[Any] | None


def judge_elsewhere(piece: tuple[Setup, Sequence[Cut]]) -> Judged:
    """Return what rows say; the work of a process that writes nothing."""
    setup, cuts = piece
    judge = _judge_of(setup)
    # Rows hold no cycles: what is left by those that do is collected while there are no rows.
    between_small_pieces()
    return judge.judge(cuts)


def get_ready() -> None:
    """Make a process ready for `judge_elsewhere`: what had to be imported for this stays, and is never looked through
    again."""
    collect_between_pieces()


@lru_cache(maxsize=1)
def _judge_of(setup: Setup) -> Judge:
    return Judge(setup, Store(open_engine(setup.database_url)))


def listed(faults: Sequence[Fault]) -> list[dict[str, str]]:
    """Return faults as the report keeps them."""
    kept = list(faults[:MOST_FAULTS])
    if len(faults) > MOST_FAULTS:
        kept.append(Fault("row", f"has {len(faults) - MOST_FAULTS} more faults", "fewer"))
    return [{"field": one.field, "problem": one.problem, "expected": one.expected} for one in kept]


def _judged(row: Row, parsed: Candidate[Any] | _Unfit, settled: Ready | Wrong | None) -> Ready | Refused:
    if isinstance(parsed, Candidate) and isinstance(settled, Ready):
        return settled
    wrong, left = (parsed.faults, parsed.left) if isinstance(parsed, _Unfit) else ((), None)
    more = settled.faults if isinstance(settled, Wrong) else ()
    known = {*(one.field for one in wrong), *(left.stood_for if left else ())}
    found = [*row.faults, *told(row, wrong), *told(row, more, known)]
    return Refused(_reference(row), listed(found or [*wrong, *more]))


def _reference(row: Row) -> str | None:
    try:
        return _REFERENCE.validate_python(row.document.get("client_ref"))
    except ValidationError:
        return None
