"""The records that use cases hand out, for those who may not reach the store."""

from service.storage.records import (
    Change,
    ChangeRecord,
    DocumentRecord,
    FitRecord,
    ImportLine,
    ImportRecord,
    JobRecord,
    ModelRecord,
    StationRecord,
    VersionRecord,
)

__all__ = [
    "Change",
    "ChangeRecord",
    "DocumentRecord",
    "FitRecord",
    "ImportLine",
    "ImportRecord",
    "JobRecord",
    "ModelRecord",
    "StationRecord",
    "VersionRecord",
]
