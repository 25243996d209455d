"""Between rows and the records they stand for."""

from __future__ import annotations

from service.storage.records import (
    Change,
    ChangeRecord,
    DocumentRecord,
    FitRecord,
    KeptAnswer,
    ModelRecord,
    StationRecord,
)
from service.storage.tables import AnswerRow, ChangeRow, DocumentRow, FitRow, StationRow, StationVersionRow


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


def fit_record(row: FitRow) -> FitRecord:
    """Return the record of a fit row."""
    return FitRecord(
        row.fit_id,
        row.station_id,
        row.state,
        row.runner_id,
        row.record_sha256,
        row.record_bytes,
        row.options,
        row.problem,
        row.report,
        row.adopted_version,
        row.created_at,
        row.started_at,
        row.finished_at,
    )


def document_record(row: DocumentRow) -> DocumentRecord:
    """Return the record of a row of a versioned document."""
    return DocumentRecord(row.key, row.external_ref, row.version, row.created_at, row.updated_at)


def change_record(row: ChangeRow) -> ChangeRecord:
    """Return the record of a change row."""
    return ChangeRecord(row.number, Change(row.kind, row.thing_id, row.change, row.version, row.changed_at))


def kept_answer(row: AnswerRow) -> KeptAnswer:
    """Return the record of an answer row."""
    return KeptAnswer(row.fingerprint, row.status, row.headers, row.content)
