"""What a check says of a record: counts of flags by test, and findings, each with its advice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

#: What happens to values: those of failed single values are flagged and enter no fit; faults of clock, datum and zone
#: are said, and the values stay as they are, because which side of the fault is right no record tells by itself.
LEFT_OUT, KEPT = "left_out", "kept"
#: Findings of one test that are listed at most, the largest first; their number is said in full.
MOST_FINDINGS = 50

ADVICE = {
    "range": "The level lies beyond what tide and weather make here; look at unit and sensor.",
    "spike": "Single values that stand out from those about them; they are left out.",
    "rate_of_change": "The level changes faster than elsewhere in the record; they are left out.",
    "flat_line": "The gauge stands still while the tide does not; its values there are left out.",
    "gap": "No values; nothing is filled in.",
    "datum_step": "The zero of the gauge moved here. Ask for its levelling, and send the parts with one datum, or as "
    "records of their own; the level is not corrected.",
    "clock_shift": "The clock of the gauge moved here. Ask for its log, and send one part, or all with the right "
    "times; the times are not corrected.",
    "clock_drift": "The clock of the gauge ran fast or slow. Ask for its log, and send the record with the right "
    "times; the times are not corrected.",
    "zone_change": "From here on the times are of another zone: summer time, or a changed setting. Send the record in "
    "one zone; the times are not corrected.",
    "zone": "Against the neighbour the whole record is off by about whole half hours. Check the zone given; the times "
    "are not corrected.",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault of a record.

    Attributes
    ----------
    test : str
        What found it, a key of `ADVICE`.
    start, end : str
        Span that it concerns, UTC; a step or shift is at ``start`` and holds until ``end``.
    size : float
        How large it is in ``unit``: metres of a step or spike, minutes that a clock is ahead, hours of a gap.
    unit : {"m", "min", "h"}
    confidence : float
        From 0 to 1: how sure it is that there is a fault, as its score and like cases say; no probability of a test.
    values : int
        Values that it concerns.
    handling : {"left_out", "kept"}
        What happens to them in a fit.
    advice : str
    """

    test: str
    start: str
    end: str
    size: float
    unit: str
    confidence: float
    values: int
    handling: str
    advice: str


@dataclass(frozen=True, slots=True)
class QualityReport:
    """What is wrong with a record, as far as its own tide, its neighbour and QARTOD's tests tell.

    Attributes
    ----------
    flags : mapping of test to mapping of flag to count
        Flags by name: good, not_evaluated, suspect, fail.
    left_out : int
        Values flagged suspect or fail that were neither before.
    findings : tuple of Finding
        In the order of time; of each test the `MOST_FINDINGS` largest.
    found : mapping of test to int
        How many findings each test has, listed or not.
    noise_m : float or None
        Deviation of what an hour does not foresee of the next, the tide taken away [m]; None where not told.
    not_evaluated : mapping of test to str
        Tests that could not be made, and why.
    """

    flags: Mapping[str, Mapping[str, int]]
    left_out: int
    findings: tuple[Finding, ...]
    found: Mapping[str, int]
    noise_m: float | None
    not_evaluated: Mapping[str, str]

    @classmethod
    def of_parts(cls, reports: Sequence[QualityReport]) -> QualityReport:
        """Return one report of the parts of a record, with the noise of the noisiest of them."""
        flags: dict[str, Counter[str]] = {}
        for report in reports:
            for test, counts in report.flags.items():
                flags.setdefault(test, Counter()).update(counts)
        noises = [report.noise_m for report in reports if report.noise_m is not None]
        return cls(
            {test: dict(counts) for test, counts in flags.items()},
            sum(report.left_out for report in reports),
            tuple(sorted((one for report in reports for one in report.findings), key=lambda one: one.start)),
            dict(sum((Counter(report.found) for report in reports), Counter())),
            max(noises, default=None),
            {
                test: f"part {number}: {why}"
                for number, report in enumerate(reports, 1)
                for test, why in report.not_evaluated.items()
            },
        )

    def of(self, test: str) -> tuple[Finding, ...]:
        """Return the findings of one test."""
        return tuple(finding for finding in self.findings if finding.test == test)

    def to_document(self) -> dict[str, Any]:
        """Return the report as plain JSON values."""
        return {
            "flags": {test: dict(counts) for test, counts in self.flags.items()},
            "left_out": self.left_out,
            "findings": [asdict(finding) for finding in self.findings],
            "found": dict(self.found),
            "noise_m": self.noise_m,
            "not_evaluated": dict(self.not_evaluated),
        }


def confidence_of(score: float, least: float) -> float:
    """Return 0.5 at the least score that is reported, 0.9 at half as much again, towards 1 beyond."""
    return round(1.0 - 0.5 * float(np.power(0.2, 2.0 * max(score / least - 1.0, 0.0))), 3)
