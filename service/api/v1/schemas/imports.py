"""Imports in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import orjson
from pydantic import Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema, WorkProblem, write_problem
from service.errors import DocumentInvalid
from service.imports.mapping import ColumnMapping
from service.usecases.imports import LinePage
from service.usecases.page import Page
from service.usecases.records import ImportRecord
from tidecore.errors import Fault, InvalidInput

Kind = Literal["mark", "method", "station", "trip", "catch", "diary_row", "regulation"]
Status = Literal["created", "unchanged", "conflict", "invalid"]


class Import(Schema):
    """An import of a file of rows, from upload to end."""

    id: str
    job_id: Annotated[str, Field(description="The job that does it; state, times and problem are its own.")]
    kind: Annotated[str, Field(description="What the rows are, as mark.")]
    format: Annotated[Literal["ndjson", "csv", "geojson"], Field(description="How the file is written.")]
    mapping: Annotated[
        dict[str, Any] | None, Field(description="How the columns of a CSV are read; null where they have our names.")
    ]
    dry_run: Annotated[bool, Field(description="Whether rows are only judged, and nothing is written.")]
    state: Literal["queued", "running", "done", "failed", "cancelled"]
    problem: WorkProblem | None
    body_sha256: str
    body_bytes: int
    rows: Annotated[int, Field(description="Rows done so far; each has its line in the report.")]
    created: Annotated[int, Field(description="Rows that made a record, or would have.")]
    unchanged: Annotated[int, Field(description="Rows whose record was there already and says the same.")]
    conflict: Annotated[int, Field(description="Rows whose client_ref is that of a record that says something else.")]
    invalid: Annotated[int, Field(description="Rows that make no record.")]
    created_at: InstantText
    started_at: InstantText | None
    finished_at: InstantText | None


class ImportList(Schema):
    """A page of imports."""

    items: list[Import]
    next_cursor: str | None


class ImportFault(Schema):
    """One thing wrong with a row, and what would be right."""

    field: Annotated[str, Field(description="Dotted path of the field.")]
    problem: Annotated[str, Field(description="What is wrong.")]
    expected: Annotated[str, Field(description="What would be right.")]


class ImportLine(Schema):
    """What became of one row."""

    row: Annotated[int, Field(description="Number of the row in the file, from 1; a header is no row.")]
    client_ref: Annotated[str | None, Field(description="What the row calls its thing; null where it does not say.")]
    status: Status
    id: Annotated[str | None, Field(description="Id of the record, for a catch that of its trip; null for none.")]
    faults: list[ImportFault]


class ImportReport(Schema):
    """A page of the report of an import."""

    items: list[ImportLine]
    next_cursor: str | None


def read_mapping(text: str | None) -> ColumnMapping | None:
    """Return the mapping that a query gives as JSON; DocumentInvalid with all that is wrong with it."""
    if text is None:
        return None
    try:
        return ColumnMapping.parse(orjson.loads(text))
    except orjson.JSONDecodeError as error:
        raise DocumentInvalid(Fault("mapping", f"is no JSON: {error.msg}", "a JSON object, percent-encoded")) from error
    except InvalidInput as error:
        named = [Fault(f"mapping.{one.field}", one.problem, one.expected) for one in error.faults]
        raise DocumentInvalid(named) from error


def write_import(record: ImportRecord) -> dict[str, Any]:
    """Return an import as `Import` has it."""
    return {
        "id": record.import_id,
        "job_id": record.job_id,
        "kind": record.kind,
        "format": record.format,
        "mapping": record.mapping,
        "dry_run": record.dry_run,
        "state": record.state,
        "problem": write_problem(record.problem),
        "body_sha256": record.body_sha256,
        "body_bytes": record.body_bytes,
        "rows": record.rows,
        **record.counts,
        "created_at": write_instant(record.created_at),
        "started_at": None if record.started_at is None else write_instant(record.started_at),
        "finished_at": None if record.finished_at is None else write_instant(record.finished_at),
    }


def write_imports(page: Page[ImportRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `ImportList` has it."""
    return {"items": [write_import(record) for record in page.items], "next_cursor": cursor}


def write_report(page: LinePage, cursor: str | None) -> dict[str, Any]:
    """Return a page as `ImportReport` has it."""
    items = [
        {
            "row": line.row,
            "client_ref": line.client_ref,
            "status": line.status,
            "id": line.thing_id,
            "faults": [dict(fault) for fault in line.faults],
        }
        for line in page.lines
    ]
    return {"items": items, "next_cursor": cursor}
