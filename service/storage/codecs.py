"""Between rows and what they stand for: records, tide models, documents, errors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.errors import DocumentInvalid, ServiceError
from service.storage.records import FitRecord, MarkRecord, ModelRecord, RuleRecord, StationRecord
from service.storage.tables import FitRow, MarkRow, RuleRow, StationRow, StationVersionRow
from tidecore.errors import CoreError, InvalidInput


def station_record(row: StationRow) -> StationRecord:
    """Return the record of a station row."""
    return StationRecord(
        row.station_id,
        row.external_ref,
        row.name,
        row.latitude,
        row.longitude,
        row.time_zone,
        row.version,
        row.created_at,
        row.updated_at,
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


def mark_record(row: MarkRow) -> MarkRecord:
    """Return the record of a mark row."""
    return MarkRecord(row.mark_id, row.external_ref, row.station_id, row.version, row.created_at, row.updated_at)


def rule_record(row: RuleRow) -> RuleRecord:
    """Return the record of a rule row."""
    return RuleRecord(row.rule_id, row.external_ref, row.version, row.created_at, row.updated_at)


def encode_error(error: CoreError | ServiceError) -> dict[str, Any]:
    """Return an error as plain data: the name of its class, its sentence, and its faults."""
    faults = error.faults if isinstance(error, InvalidInput | DocumentInvalid) else ()
    return {
        "error": type(error).__name__,
        "detail": str(error),
        "faults": [{"field": f.field, "problem": f.problem, "expected": f.expected} for f in faults],
    }


def plain(value: Any) -> Any:
    """Return ``value`` as JSON has it: numpy scalars and arrays become numbers and lists, NaN becomes None.

    Raises
    ------
    TypeError
        For what has no plain form.
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if hasattr(value, "tolist") and not isinstance(value, str | bytes):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if value - value == 0.0 else None
    if value is None or isinstance(value, bool | int | str):
        return value
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    raise TypeError(f"no plain form of {type(value).__name__}")
