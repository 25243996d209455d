"""Rows of regulations: the rules that an account has on file."""

from __future__ import annotations

from typing import ClassVar

from service.imports.cells import day_cell, json_cell, number_cell, text_cell, truth_cell
from service.imports.rows import Columns
from service.storage.repositories.documents import DocumentRepository, Link
from service.storage.unit import UnitOfWork
from service.usecases.import_kinds.documents import DocumentImport
from service.usecases.references import ExternalRef
from tidecore.catchlog import Regulation


class RegulationRow(Regulation):
    """A rule on file, as a row of an import has it."""

    client_ref: ExternalRef


class RegulationImport(DocumentImport[RegulationRow]):
    """Regulations: they rest on nothing; marks name their areas."""

    kind, row, document = "regulation", RegulationRow, Regulation
    links = ("area",)
    columns: ClassVar[Columns] = {
        **dict.fromkeys(("area", "source", "permit", "gathering", "notes"), text_cell),
        **{f"species.{name}": text_cell for name in ("scientific_name", "fao_code", "local_name")},
        "dated": day_cell,
        **dict.fromkeys(("bag", "most_rods", "most_hooks"), number_cell),
        "always_banned": truth_cell,
        **dict.fromkeys(("sizes", "release_only", "banned", "no_fishing"), json_cell),
    }

    def things(self, unit: UnitOfWork) -> DocumentRepository:
        """Return where rules are kept."""
        return unit.regulations

    def linked(self, row: RegulationRow) -> tuple[Link, ...]:
        """Return the area of a rule."""
        return (row.area,)
