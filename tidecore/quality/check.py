"""check_record: a gauge record -> the record with flags, and a report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

import numpy as np

from tidecore.errors import Fault, InvalidInput, InvalidPosition
from tidecore.gauges.record import FAIL, GOOD, NOT_EVALUATED, SUSPECT
from tidecore.harmonics import Harmonics
from tidecore.quality.clocks import delays_of
from tidecore.quality.drift import find_drift
from tidecore.quality.examination import Examination, examine
from tidecore.quality.hourly import CLOCK_ORDER, noise_of
from tidecore.quality.neighbours import zone_error
from tidecore.quality.qartod import Flags, gaps
from tidecore.quality.report import ADVICE, KEPT, LEFT_OUT, MOST_FINDINGS, Finding, QualityReport, confidence_of
from tidecore.quality.steps import LEAST_SCORE
from tidecore.quality.values import ValueFlags, flag_values, runs_of
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, from_microseconds, microseconds
from tidecore.units import FloatArray, IntArray

if TYPE_CHECKING:
    import xarray

#: Shorter records have no tide that can be told from weather [days].
LEAST_DAYS = 14.0
_LEAST_VALUES = 240
#: Share of a record's hours that must have values for clock and datum to be looked at.
_LEAST_COVER = 0.5
#: A gap from this on is a finding [h]; shorter ones are counted.
_LONG_GAP_H = 24.0
_NAMES = {GOOD: "good", NOT_EVALUATED: "not_evaluated", SUSPECT: "suspect", FAIL: "fail"}
_LEAST_SHIFT_SCORE = 6.0
_SERIES_TESTS = ("datum_step", "clock_shift", "clock_drift", "zone_change")


class HasHarmonics(Protocol):
    """A tide model, as far as a neighbour needs to be one."""

    @property
    def harmonics(self) -> Harmonics:
        """Its constituents."""

    @property
    def station(self) -> str:
        """Its name."""


def check_record(
    record: xarray.Dataset,
    latitude: float | None = None,
    *,
    neighbour: HasHarmonics | None = None,
    level_range: tuple[float, float] | None = None,
) -> tuple[xarray.Dataset, QualityReport]:
    """Check a gauge record: flag values that are no level of the sea, and say where clock, datum or zone are at fault.

    Parameters
    ----------
    record : xarray.Dataset
        From `read_gauge`: "sea_level" [m] over "time" [UTC], and "quality" where it is there; values missing or flagged
        3, 4 or 9 already are left as they are.
    latitude : float, optional
        [degrees north]; the record's own where it states one and none is given.
    neighbour : TideModel, optional
        A station of the same type of tide near by, against which the zone of the whole record is checked.
    level_range : (lowest, highest), optional
        What the gauge can measure [m above its datum].

    Returns
    -------
    record : xarray.Dataset
        A copy whose "quality" has QARTOD flags of every value: 1 good, 2 not evaluated, 3 suspect, 4 fail, 9 missing.
        Levels and times are those given.
    report : QualityReport
        Faults of clock, datum and zone are findings: they are neither corrected nor flagged, as a record does not tell
        which side of them is right.

    Raises
    ------
    InvalidInput
        If it is no record.
    InvalidPosition
        If no latitude is known.
    UnfitNeighbour
        If the neighbour's tide is of another type.

    Notes
    -----
    The flags are those of `tidecore.quality.qartod`, applied to what the record's own tide leaves. Records under
    `LEAST_DAYS` are tested for levels that stand still, and for ``level_range``, alone; the report says so.
    """
    times, levels, valid = _columns(record)
    where = _latitude(record, latitude)
    flags = np.full(times.shape, 9, dtype=np.uint8) if "quality" not in record else record["quality"].values.copy()
    if "quality" not in record:
        flags[np.isfinite(levels)] = NOT_EVALUATED
    report, worst = _check(times[valid], levels[valid], where, neighbour, level_range)
    flags[valid] = worst
    checked = record.copy()
    attributes = record["quality"].attrs if "quality" in record else {"standard_name": "status_flag"}
    checked["quality"] = ("time", flags, attributes)
    return checked, report


def _check(
    times: IntArray,
    levels: FloatArray,
    latitude: float,
    neighbour: HasHarmonics | None,
    level_range: tuple[float, float] | None,
) -> tuple[QualityReport, Flags]:
    """Return the report of valid levels and the worst flag of each."""
    unknown: dict[str, str] = {}
    reason = _unfit(times, levels)
    found: Examination | None = None
    if reason is None:
        try:
            found = examine(times, levels, latitude, level_range)
        except InvalidInput as error:
            reason = f"the tide cannot be told from the record ({error})"
    if found is None:
        values = flag_values(times, levels, None, level_range)
        untested = ("spike", "rate_of_change", *_SERIES_TESTS)
        unknown |= dict.fromkeys(untested if level_range is not None else ("range", *untested), str(reason))
    else:
        values = found.flags
        if found.noise is None:
            unknown |= dict.fromkeys(_SERIES_TESTS, "too few hours have values")
    worst = values.worst if len(times) else np.empty(0, dtype=np.uint8)
    findings = _of_values(times, levels, values, found) + _of_gaps(times)
    if found is not None:
        findings += _of_series(times, found)
    if neighbour is None:
        unknown["zone"] = "no neighbour is named"
    elif found is None:
        unknown["zone"] = str(reason)
    else:
        findings += _of_zone(times, found.tide, neighbour)
    listed, counts = _listed(findings)
    report = QualityReport(
        flags={test: _counted(of) for test, of in values.by_test.items()},
        left_out=int(np.isin(worst, (SUSPECT, FAIL)).sum()),
        findings=listed,
        found=counts,
        noise_m=None if found is None or found.noise is None else round(found.noise.sigma, 5),
        not_evaluated=unknown,
    )
    return report, worst


def _columns(record: xarray.Dataset) -> tuple[IntArray, FloatArray, np.ndarray]:
    for name in ("sea_level", "time"):
        if name not in record:
            raise InvalidInput(Fault(f"record.{name}", "missing", "a record as read_gauge returns it"))
    times = microseconds(record["time"].values, "record.time")
    levels = np.asarray(record["sea_level"].values, dtype=np.float64)
    if times.ndim != 1 or levels.shape != times.shape:
        raise InvalidInput(Fault("record.sea_level", f"has shape {levels.shape}", "one level a time"))
    if np.any(np.diff(times) <= 0):
        raise InvalidInput(Fault("record.time", "does not ascend", "sorted times, each once"))
    valid = np.isfinite(levels)
    if "quality" in record:
        valid &= np.isin(record["quality"].values, (GOOD, NOT_EVALUATED))
    return times, levels, valid


def _latitude(record: xarray.Dataset, given: float | None) -> float:
    value = record.attrs.get("latitude") if given is None else given
    if value is None or not -90.0 <= float(value) <= 90.0:
        problem = "neither given nor stated by the record" if value is None else f"{value} is on no globe"
        raise InvalidPosition(Fault("latitude", problem, "degrees from -90 to 90"))
    return float(value)


def _unfit(times: IntArray, levels: FloatArray) -> str | None:
    """Return why a record has no tide to be checked against, None if it has."""
    days = float(times[-1] - times[0]) / US_PER_DAY if len(times) else 0.0
    if days < LEAST_DAYS or len(times) < _LEAST_VALUES:
        return f"{days:.1f} days with {len(times)} values; {LEAST_DAYS:g} days with {_LEAST_VALUES} values are needed"
    hours = np.unique((times + US_PER_HOUR // 2) // US_PER_HOUR)
    if len(hours) < _LEAST_COVER * (days * 24.0):
        return "fewer than half of the hours have a value"
    return "the level never moves" if float(np.ptp(levels)) == 0.0 else None


def _of_values(times: IntArray, levels: FloatArray, values: ValueFlags, found: Examination | None) -> list[Finding]:
    findings: list[Finding] = []
    if not len(levels):
        return findings
    tide = np.median(levels) if found is None else found.tide.heights(times.view("datetime64[us]"))
    left = levels - tide
    left = left - np.median(left)
    for test, flags in values.by_test.items():
        for flag in (SUSPECT, FAIL):
            for first, last in runs_of(flags == flag):
                part = slice(first, last + 1)
                size = left[part][np.argmax(np.abs(left[part]))] if test != "flat_line" else np.ptp(left[part])
                findings.append(
                    _finding(test, times[first], times[last], float(size), "m", 0.95 if flag == FAIL else 0.6,
                             last - first + 1)
                )  # fmt: skip
    return findings


def _of_gaps(times: IntArray) -> list[Finding]:
    if len(times) < 3:
        return []
    step = int(np.median(np.diff(times)))
    findings = []
    for place in gaps(times, step):
        hours = float(times[place + 1] - times[place]) / US_PER_HOUR
        if hours >= _LONG_GAP_H:
            absent = round(hours * US_PER_HOUR / step) - 1
            findings.append(_finding("gap", times[place], times[place + 1], hours, "h", 1.0, absent))
    return findings


def _of_series(times: IntArray, found: Examination) -> list[Finding]:
    """Return steps, shifts and drift; each holds from its instant on."""
    findings = []
    for step in found.steps:
        start = found.hours.time_us(step.at)
        sure = confidence_of(step.score, LEAST_SCORE)
        findings.append(_holding("datum_step", times, start, times[-1], step.size_m, "m", sure))
    drift = None
    clock = noise_of(found.hours, CLOCK_ORDER)
    if clock is not None:
        drift = find_drift(delays_of(found.hours, clock), [shift.at for shift in found.shifts])
    if drift is not None:
        start, end = found.hours.time_us(drift.begin), found.hours.time_us(drift.end)
        sure = confidence_of(drift.score, 6.0)
        findings.append(_holding("clock_drift", times, start, end, drift.minutes, "min", sure))
    for shift in found.shifts:
        if drift is not None and drift.begin <= shift.at <= drift.end:
            continue
        start = found.hours.time_us(shift.at)
        whole = abs(shift.minutes) >= 50.0 and abs(shift.minutes / 30.0 - round(shift.minutes / 30.0)) <= 1.0 / 3.0
        sure = confidence_of(shift.score, _LEAST_SHIFT_SCORE)
        test = "zone_change" if whole else "clock_shift"
        findings.append(_holding(test, times, start, times[-1], shift.minutes, "min", sure))
    return findings


def _of_zone(times: IntArray, tide: Harmonics, neighbour: HasHarmonics) -> list[Finding]:
    error = zone_error(tide, neighbour.harmonics, neighbour.station)
    if error is None:
        return []
    sure = 0.9 if error.sure else 0.5
    return [_finding("zone", times[0], times[-1], 60.0 * error.hours, "min", sure, len(times))]


def _holding(
    test: str, times: IntArray, start: int, end: int, size: float, unit: str, confidence: float
) -> Finding:  # fmt: skip
    concerned = int(np.count_nonzero((times >= start) & (times <= end)))
    return _finding(test, start, end, size, unit, confidence, concerned)


def _finding(
    test: str, start: int | np.integer, end: int | np.integer, size: float, unit: str, confidence: float, values: int
) -> Finding:  # fmt: skip
    handling = LEFT_OUT if test in ("range", "spike", "rate_of_change", "flat_line") else KEPT
    begin, last = (f"{from_microseconds(int(at)).astype('datetime64[s]')}Z" for at in (start, end))
    return Finding(test, begin, last, round(size, 3), unit, confidence, int(values), handling, ADVICE[test])


def _listed(findings: list[Finding]) -> tuple[tuple[Finding, ...], dict[str, int]]:
    """Return the largest findings of each test in the order of time, and how many each test has."""
    counts = {test: sum(finding.test == test for finding in findings) for test in ADVICE}
    kept: list[Finding] = []
    for test in ADVICE:
        of = sorted((f for f in findings if f.test == test), key=lambda finding: -abs(finding.size))
        kept.extend(of[:MOST_FINDINGS])
    return tuple(sorted(kept, key=lambda finding: (finding.start, finding.test))), counts


def _counted(flags: Flags) -> dict[str, int]:
    return {name: int(np.count_nonzero(flags == flag)) for flag, name in _NAMES.items()}
