"""The records that use cases hand out, for those who may not reach the store."""

from service.storage.records import FitRecord, JobRecord, MarkRecord, ModelRecord, RuleRecord, StationRecord

__all__ = ["FitRecord", "JobRecord", "MarkRecord", "ModelRecord", "RuleRecord", "StationRecord"]
