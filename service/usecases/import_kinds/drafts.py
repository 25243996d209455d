"""Rows on their way to documents: what is wrong is noted and left out, so that the rest of a row is still checked."""

from __future__ import annotations

import copy
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, Generic, NamedTuple, TypeVar

from service.errors import DocumentInvalid, ServiceError
from service.imports.mapping import CLIENT_REF
from service.imports.rows import Row
from service.security import Caller
from service.usecases.import_kinds.kind import Candidate, ImportKind
from tidecore.documents import shown
from tidecore.errors import CoreError, Fault, InvalidInput, UnknownName

T = TypeVar("T")

#: How often more is left out of a row until what is left is fit.
_MOST_ROUNDS = 4


class Draft:
    """A row that is being prepared."""

    def __init__(self, row: Row) -> None:
        """Begin with a row as its format gave it."""
        self._number = row.number
        self.document = dict(row.document)
        self.faults = list(row.faults)
        self.told_as = dict(row.told_as)

    def refuse(self, field: str, problem: str, expected: str) -> None:
        """Note what is wrong with a field, unless something is known to be."""
        if not any(fault.field == field for fault in self.faults):
            self.faults.append(Fault(field, problem, expected))

    def row(self) -> Row:
        """Return the row as it is now."""
        return Row(self._number, self.document, tuple(dict.fromkeys(self.faults)), self.told_as)


def faults_of(error: CoreError | ServiceError) -> list[Fault]:
    """Return what an error says of a row."""
    if isinstance(error, InvalidInput | DocumentInvalid | UnknownName):
        return list(error.faults)
    return [Fault("row", str(error), "a row that POST would take")]


def told(row: Row, faults: Iterable[Fault], wrong: Collection[str] = ()) -> list[Fault]:
    """Return faults of the document of a row as the file calls its fields, without those that follow from others: at or
    within fields that are known to be ``wrong``, and at those of which no more is said."""
    before = {*wrong, *(fault.field for fault in row.faults)}
    names = {**row.told_as, **dict.fromkeys(before, None)}
    return list(_renamed(faults, names))


def _renamed(faults: Iterable[Fault], names: Mapping[str, str | None]) -> Iterator[Fault]:
    for fault in faults:
        path = fault.field
        name: str | None = path
        for field, called in names.items():
            if path == field or path.startswith(f"{field}."):
                name = None if called is None or name is None else called + path[len(field) :]
        if name is not None:
            yield Fault(name, fault.problem, fault.expected)


class Left(NamedTuple, Generic[T]):
    """What is left of a row, and the fields that something harmless stands for: nothing is said of these."""

    row: Candidate[T]
    stood_for: Collection[str]


def what_is_right(kind: ImportKind[T], row: Row, wrong: Iterable[str], caller: Caller) -> Left[T] | None:
    """Return a row without its ``wrong`` fields, `ImportKind.harmless` values in their places, for what else stands
    against it to be looked up; None where nothing is to be looked up, or that makes no row."""
    if not kind.harmless:
        return None
    document = copy.deepcopy(dict(row.document))
    # A name of its own: with that of another row it would only be compared.
    document[CLIENT_REF] = f"row {row.number} of the file"
    stood_for: set[str] = set()
    for _ in range(_MOST_ROUNDS):
        for field in wrong:
            _leave_out(document, field, kind.harmless)
        stood_for.update(field for field, value in kind.harmless.items() if _stands_in(document, field, value))
        try:
            return Left(kind.parse(document, caller), stood_for)
        except (CoreError, ServiceError) as error:
            wrong = [fault.field for fault in faults_of(error)]
    return None


def _leave_out(document: dict[str, Any], field: str, harmless: Collection[str]) -> None:
    """Leave out a field; the list that it is in; where it is missing, the object that should have it, unless something
    ``harmless`` will stand for it."""
    above, holder, name = document, document, ""
    rest = field
    while rest and isinstance(holder, dict):
        step, _, more = rest.partition(".")
        # What is no field may have points in its name.
        whole = next((key for key in holder if rest in (key, shown(key))), None)
        found = whole or next((key for key in holder if step in (key, shown(key))), None)
        if found is None:
            if field in harmless:
                return
            break
        above, holder, name = holder, holder[found], found
        rest = "" if found == whole else more
    above.pop(name, None)


def _stands_in(document: dict[str, Any], field: str, value: Any) -> bool:
    """Put a value where a document has none, and return whether that was so."""
    *steps, last = field.split(".")
    for step in steps:
        document = document.setdefault(step, {})
    if not isinstance(document, dict) or last in document:
        return False
    document[last] = value
    return True
