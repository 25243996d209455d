"""Rows of regulations: the rules that an account has on file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar

from service.errors import DocumentInvalid
from service.imports.delimited import day_cell, json_cell, number_cell, text_cell, truth_cell
from service.imports.rows import Columns
from service.security import Caller
from service.storage.records import CREATED, Change
from service.storage.repositories.documents import NewDocument
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.kind import Candidate, ImportKind, Stored, content_hash
from service.usecases.references import ExternalRef
from tidecore.catchlog import Regulation
from tidecore.errors import InvalidInput


class RegulationRow(Regulation):
    """A rule on file, as a row of an import has it."""

    client_ref: ExternalRef


class RegulationImport(ImportKind[Mapping[str, Any]]):
    """Regulations: they rest on nothing; marks name their areas."""

    columns: ClassVar[Columns] = {
        **dict.fromkeys(("area", "source", "permit", "gathering", "notes"), text_cell),
        **{f"species.{name}": text_cell for name in ("scientific_name", "fao_code", "local_name")},
        "dated": day_cell,
        **dict.fromkeys(("bag", "most_rods", "most_hooks"), number_cell),
        "always_banned": truth_cell,
        **dict.fromkeys(("sizes", "release_only", "banned", "no_fishing"), json_cell),
    }

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[Mapping[str, Any]]:
        """Return the rule of a row."""
        said = RegulationRow.parse(document).to_document()
        return Candidate(said.pop("client_ref"), said)

    def parse_many(
        self, _documents: Sequence[Mapping[str, Any]], _caller: Caller
    ) -> list[Candidate[Mapping[str, Any]]] | None:
        """Return None: nobody has rules by the thousand."""
        return None

    def settle(
        self, _unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]]
    ) -> list[Candidate[Mapping[str, Any]] | InvalidInput | DocumentInvalid]:
        """Return rules as they are."""
        return list(candidates)

    def told(self, said: Mapping[str, Any]) -> str:
        """Return the hash of the document."""
        return content_hash(said)

    def same(self, new: str, old: str) -> bool:
        """Return whether two rules are the same."""
        return new == old

    def stored(self, unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]]) -> dict[str, Stored]:
        """Return the rules there are in their current versions."""
        records = unit.regulations.by_references([one.client_ref for one in candidates])
        documents = unit.regulations.documents([(one.id, one.version) for one in records.values()]) if records else {}
        return {
            reference: Stored(one.id, content_hash(Regulation.parse(documents[one.id, one.version]).to_document()))
            for reference, one in records.items()
        }

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]], now: datetime) -> list[str]:
        """Add rules in their first versions."""
        drafts = [NewDocument(one.said, one.client_ref, {"area": one.said["area"]}) for one in candidates]
        made = unit.regulations.add_many(drafts, now)
        for key in made:
            unit.note(Change("regulation", key, CREATED, 1, now))
        return made
