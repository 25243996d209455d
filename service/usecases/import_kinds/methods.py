"""Rows of methods."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar

from service.errors import DocumentInvalid
from service.imports.delimited import json_cell, list_cell, number_cell, text_cell
from service.imports.rows import Columns
from service.security import Caller
from service.storage.records import CREATED, Change
from service.storage.repositories.documents import NewDocument
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.kind import Candidate, ImportKind, Stored, content_hash
from service.usecases.references import ExternalRef
from tidecore.errors import InvalidInput
from tidecore.rules import Method


class MethodRow(Method):
    """A method, as a row of an import has it."""

    client_ref: ExternalRef


class MethodImport(ImportKind[Mapping[str, Any]]):
    """Methods: they rest on nothing."""

    columns: ClassVar[Columns] = {
        **dict.fromkeys(("name", "rig", "style", "notes", "provenance", "reach.band", "lead.type"), text_cell),
        **dict.fromkeys(("main_line.material",), text_cell),
        **dict.fromkeys(("reach.from_m", "reach.to_m", "lead.grams", "wading_depth_m", "rods"), number_cell),
        **dict.fromkeys(("main_line.diameter_mm", "main_line.strength_lb"), number_cell),
        **dict.fromkeys(("leader.strength_lb", "leader.rod_lengths", "leader.turns"), number_cell),
        **dict.fromkeys(("species", "hooks", "snoods", "baits", "suits"), json_cell),
        "beds": list_cell,
    }

    def parse(self, document: Mapping[str, Any], _caller: Caller) -> Candidate[Mapping[str, Any]]:
        """Return the method of a row."""
        said = MethodRow.parse(document).to_document()
        return Candidate(said.pop("client_ref"), said)

    def parse_many(
        self, _documents: Sequence[Mapping[str, Any]], _caller: Caller
    ) -> list[Candidate[Mapping[str, Any]]] | None:
        """Return None: nobody has methods by the thousand."""
        return None

    def settle(
        self, _unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]]
    ) -> list[Candidate[Mapping[str, Any]] | InvalidInput | DocumentInvalid]:
        """Return methods as they are."""
        return list(candidates)

    def told(self, said: Mapping[str, Any]) -> str:
        """Return the hash of the document."""
        return content_hash(said)

    def same(self, new: str, old: str) -> bool:
        """Return whether two methods are the same."""
        return new == old

    def stored(self, unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]]) -> dict[str, Stored]:
        """Return the methods there are in their current versions."""
        records = unit.methods.by_references([one.client_ref for one in candidates])
        documents = unit.methods.documents([(one.id, one.version) for one in records.values()]) if records else {}
        return {
            reference: Stored(one.id, content_hash(Method.parse(documents[one.id, one.version]).to_document()))
            for reference, one in records.items()
        }

    def write(self, unit: UnitOfWork, candidates: Sequence[Candidate[Mapping[str, Any]]], now: datetime) -> list[str]:
        """Add methods in their first versions."""
        made = unit.methods.add_many([NewDocument(one.said, one.client_ref, {}) for one in candidates], now)
        for key in made:
            unit.note(Change("method", key, CREATED, 1, now))
        return made
