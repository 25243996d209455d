"""The records that use cases hand out, for those who may not reach the store."""

from service.storage.plan_records import FeedRecord, PlanCounts, PlanMarkRecord, PlanRecord
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
    "FeedRecord",
    "FitRecord",
    "ImportLine",
    "ImportRecord",
    "JobRecord",
    "JoinRecord",
    "ModelRecord",
    "PlanCounts",
    "PlanMarkRecord",
    "PlanRecord",
    "StationRecord",
    "TripFilter",
    "VersionRecord",
    "WarningRecord",
]
