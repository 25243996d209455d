"""The records that use cases hand out, for those who may not reach the store."""

from service.storage.records import (
    Change,
    ChangeRecord,
    ConditionRecord,
    DocumentRecord,
    FitRecord,
    ImportLine,
    ImportRecord,
    JobRecord,
    ModelRecord,
    StationRecord,
    VersionRecord,
    WarningRecord,
)
from service.storage.repositories.joins import JoinRecord, TripFilter

__all__ = [
    "Change",
    "ChangeRecord",
    "ConditionRecord",
    "DocumentRecord",
    "FitRecord",
    "ImportLine",
    "ImportRecord",
    "JobRecord",
    "JoinRecord",
    "ModelRecord",
    "StationRecord",
    "TripFilter",
    "VersionRecord",
    "WarningRecord",
]
