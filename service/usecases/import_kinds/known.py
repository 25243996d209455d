"""What only the account knows and rows of an import hang on: the clocks of its marks, and what it calls species."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from pydantic_core import from_json

from service.imports.mapping import OF_THE_MARK, ColumnMapping
from service.storage.identifiers import is_id
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import Store, UnitOfWork
from tidecore.documents import shown
from tidecore.errors import Fault

#: Rules and marks that are looked through for the names of species.
_MOST_NAMING = 5000
_SCIENTIFIC = re.compile(r"[A-Z][a-z]+(-[a-z]+)?( [a-z]+(-[a-z]+)?){1,2}")

Species = Mapping[str, Any]


@dataclass(slots=True)
class Known:
    """What the rows of one batch hang on, read when it is asked for.

    ``mapping`` is how the file is read; None for one that is written as POST takes things.
    """

    store: Store
    account_id: str
    mapping: ColumnMapping | None
    #: Whether the rows are those of a table, which has columns that no document has.
    tabular: bool
    _species: dict[str, Species] | None = field(default=None, init=False)

    def zones(self, marks: Collection[str]) -> Mapping[str, ZoneInfo | None]:
        """Return whose clock times without an offset are by, for each of the names of marks; None where nobody says."""
        said = None if self.mapping is None else self.mapping.time_zone
        if said is not None and said != OF_THE_MARK:
            return dict.fromkeys(marks, ZoneInfo(said))
        with self.store.unit(self.account_id) as unit:
            found = things_named(unit.marks, marks)
            zones = {key: ZoneInfo(document["time_zone"]) for key, document in current(unit.marks, found).items()}
        return {name: zones[found[name].id] if name in found else None for name in marks}

    def zones_of_trips(self, trips: Collection[str]) -> Mapping[str, ZoneInfo | None]:
        """Return the same for each of the names of trips: by the clocks of their marks."""
        with self.store.unit(self.account_id) as unit:
            found = things_named(unit.trips, trips)
            marks = {key: document["trip"]["mark"] for key, document in current(unit.trips, found).items()}
        zones = self.zones(set(marks.values()))
        return {name: zones[marks[found[name].id]] if name in found else None for name in trips}

    def species(self, name: str) -> Species | Fault:
        """Return the species of a name: the account's own, a code of FAO's, or a scientific one; else the fault."""
        if self._species is None:
            with self.store.unit(self.account_id) as unit:
                self._species = _names_of_species(unit)
        found = self._species.get(name.casefold())
        if found is not None:
            return found
        if _SCIENTIFIC.fullmatch(name):
            return {"scientific_name": name, "fao_code": None, "local_name": None}
        expected = "a scientific name, or a name or FAO code that a species rule or a mark of the account has"
        return Fault("species", f"there is no species {shown(name)}", expected)


def things_named(repository: DocumentRepository, names: Collection[str]) -> dict[str, Any]:
    """Return the records of things, each named by its id or its external reference; those that there are.

    Nothing is called by a name with a NUL in it, and PostgreSQL takes none to ask for.
    """
    names = [name for name in names if "\0" not in name]
    by_id = repository.many(sorted(name for name in names if is_id(name)))
    return dict(repository.by_references(sorted(names))) | by_id


def current(repository: DocumentRepository, named: Mapping[str, Any]) -> dict[str, Any]:
    """Return the documents of records as they stand, by id."""
    records = list({one.id: one for one in named.values()}.values())
    return {key: _read(text) for key, text in repository.texts(records).items()} if records else {}


def _read(text: str) -> dict[str, Any]:
    try:
        found: dict[str, Any] = from_json(text)
    except ValueError:
        # Halves of surrogate pairs.
        found = json.loads(text)
    return found


def _names_of_species(unit: UnitOfWork) -> dict[str, Species]:
    """Return species by every name that rules and marks have for them, in lower case; what a rule says comes first."""
    found: dict[str, Species] = {}
    rules = {one.id: one for one in unit.species_rules.page(None, _MOST_NAMING)}
    marks = {one.id: one for one in unit.marks.page(None, _MOST_NAMING)}
    told = [one["species"] for one in current(unit.species_rules, rules).values()]
    told += [each for one in current(unit.marks, marks).values() for each in one["species"]]
    for one in told:
        species = {name: one.get(name) for name in ("scientific_name", "fao_code", "local_name")}
        for name in species.values():
            if name is not None:
                found.setdefault(name.casefold(), species)
    return found
