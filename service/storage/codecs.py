"""Between rows and the records they stand for."""

from __future__ import annotations

from service.storage.records import (
    ROW_STATUSES,
    Change,
    ChangeRecord,
    DocumentRecord,
    FitRecord,
    ImportLine,
    ImportRecord,
    JobRecord,
    KeptAnswer,
    ModelRecord,
    StationRecord,
)
from service.storage.tables import (
    AnswerRow,
    ChangeRow,
    DocumentRow,
    FitRow,
    ImportLineRow,
    ImportRow,
    JobRow,
    StationRow,
    StationVersionRow,
)


def station_record(row: StationRow, account_id: str) -> StationRecord:
    """Return the record of a station row, as an account sees it."""
    return StationRecord(
        row.station_id,
        row.external_ref,
        row.name,
        row.latitude,
        row.longitude,
        row.time_zone,
        row.public,
        row.version,
        row.created_at,
        row.updated_at,
        row.account_id == account_id,
    )


def model_record(row: StationVersionRow) -> ModelRecord:
    """Return the record of a row of a station's version."""
    return ModelRecord(
        row.station_id,
        row.version,
        row.source,
        row.fit_id,
        row.datum,
        row.input_hash,
        row.numerics,
        row.code_version,
        row.created_at,
    )


def job_record(row: JobRow) -> JobRecord:
    """Return the record of a job row."""
    return JobRecord(
        row.job_id,
        row.account_id,
        row.kind,
        row.state,
        row.input_hash,
        row.input,
        row.progress,
        row.attempts,
        row.runner_id,
        row.lease_until,
        row.cancel_requested,
        row.result,
        row.problem,
        row.created_at,
        row.started_at,
        row.finished_at,
        row.updated_at,
    )


def fit_record(row: FitRow, job: JobRow) -> FitRecord:
    """Return the record of a fit row and that of its job."""
    return FitRecord(
        row.fit_id,
        row.station_id,
        row.job_id,
        job.state,
        row.record_sha256,
        row.record_bytes,
        row.options,
        job.problem,
        row.report,
        row.adopted_version,
        row.created_at,
        job.started_at,
        job.finished_at,
    )


def import_record(row: ImportRow, job: JobRow) -> ImportRecord:
    """Return the record of an import row and that of its job."""
    return ImportRecord(
        row.import_id,
        row.job_id,
        row.kind,
        row.format,
        job.input.get("mapping"),
        row.dry_run,
        job.state,
        row.body_sha256,
        row.body_bytes,
        row.rows,
        {status: getattr(row, status) for status in ROW_STATUSES},
        job.problem,
        row.created_at,
        job.started_at,
        job.finished_at,
    )


def import_line(row: ImportLineRow) -> ImportLine:
    """Return the record of a line of a report."""
    return ImportLine(row.row, row.client_ref, row.status, row.thing_id, row.faults or (), row.told)


def document_record(row: DocumentRow) -> DocumentRecord:
    """Return the record of a row of a versioned document."""
    return DocumentRecord(row.key, row.external_ref, row.version, row.created_at, row.updated_at)


def change_record(row: ChangeRow) -> ChangeRecord:
    """Return the record of a change row."""
    return ChangeRecord(row.number, Change(row.kind, row.thing_id, row.change, row.version, row.changed_at))


def kept_answer(row: AnswerRow) -> KeptAnswer:
    """Return the record of an answer row."""
    return KeptAnswer(row.fingerprint, row.status, row.headers, row.content)
