"""Quality of gauge records: flags by QARTOD's tests, and faults of datum, clock and zone that the tide gives away."""

from tidecore.quality.check import check_record
from tidecore.quality.report import Finding, QualityReport

__all__ = ["Finding", "QualityReport", "check_record"]
