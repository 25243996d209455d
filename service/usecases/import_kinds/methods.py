"""Rows of methods."""

from __future__ import annotations

from typing import ClassVar

from service.imports.cells import json_cell, list_cell, number_cell, text_cell
from service.imports.rows import Columns
from service.storage.repositories.documents import DocumentRepository
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.documents import DocumentImport
from service.usecases.references import ExternalRef
from tidecore.rules import Method


class MethodRow(Method):
    """A method, as a row of an import has it."""

    client_ref: ExternalRef


class MethodImport(DocumentImport[MethodRow]):
    """Methods: they rest on nothing."""

    kind, row, document = "method", MethodRow, Method
    columns: ClassVar[Columns] = {
        **dict.fromkeys(("name", "rig", "style", "notes", "provenance", "reach.band", "lead.type"), text_cell),
        **dict.fromkeys(("main_line.material",), text_cell),
        **dict.fromkeys(("reach.from_m", "reach.to_m", "lead.grams", "wading_depth_m", "rods"), number_cell),
        **dict.fromkeys(("main_line.diameter_mm", "main_line.strength_lb"), number_cell),
        **dict.fromkeys(("leader.strength_lb", "leader.rod_lengths", "leader.turns"), number_cell),
        **dict.fromkeys(("species", "hooks", "snoods", "baits", "suits"), json_cell),
        "beds": list_cell,
    }

    def things(self, unit: UnitOfWork) -> DocumentRepository:
        """Return where methods are kept."""
        return unit.methods
