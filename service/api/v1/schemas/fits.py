"""Fits in requests and answers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema, WorkProblem, write_problem
from service.errors import DocumentInvalid
from service.usecases.fits import FitRequest
from service.usecases.page import Page
from service.usecases.records import FitRecord
from tidecore.errors import Fault
from tidecore.gauges import formats

#: Fields of a time that may stand in columns of their own.
_TIME_FIELDS = ("year", "month", "day", "hour", "minute", "second", "day_of_year")


class FitQuery(BaseModel):
    """What the record does not say itself, and how to fit it. Hints that the format does not take are refused."""

    model_config = ConfigDict(extra="forbid")

    format: Annotated[
        str | None,
        Field(max_length=40, description=f"Format: {', '.join(formats())}; recognised unless given."),
    ] = None
    latitude: Annotated[
        float | None,
        Field(ge=-90.0, le=90.0, allow_inf_nan=False, description="Degrees north; the station's unless given."),
    ] = None
    unit: Annotated[str | None, Field(max_length=20, description="Unit of level: m, cm, mm or ft.")] = None
    zone: Annotated[
        str | None,
        Field(max_length=64, description="Zone of the times: UTC, an offset as +01:00, or an IANA name."),
    ] = None
    datum: Annotated[
        str | None, Field(max_length=120, description="Datum of the levels; unknown is a valid answer.")
    ] = None
    time: Annotated[
        list[str] | None,
        Field(max_length=4, description="Column of times by name or place (from 0); several are joined by a blank."),
    ] = None
    time_fields: Annotated[
        str | None,
        Field(
            max_length=200,
            description="Columns of the fields of the time, as year:0,month:1,day:2,hour:3.",
        ),
    ] = None
    level: Annotated[str | None, Field(max_length=120, description="Column of levels by name or place.")] = None
    time_format: Annotated[str | None, Field(max_length=60, description="Format of the times.")] = None
    time_unit: Annotated[str | None, Field(max_length=80, description="Unit and epoch of numeric times.")] = None
    ambiguous_times: Annotated[
        str | None, Field(max_length=20, description="Times that summer time shows twice: earlier, later or drop.")
    ] = None
    missing: Annotated[
        list[str] | None, Field(max_length=20, description="Numbers or texts that stand for no level.")
    ] = None
    valid_min: Annotated[float | None, Field(allow_inf_nan=False, description="Lowest level to believe.")] = None
    valid_max: Annotated[float | None, Field(allow_inf_nan=False, description="Highest level to believe.")] = None
    flag: Annotated[str | None, Field(max_length=120, description="Column of quality flags.")] = None
    flag_bad: Annotated[list[str] | None, Field(max_length=50, description="Flags not to be believed.")] = None
    delimiter: Annotated[str | None, Field(max_length=20, description="Delimiter, by name or itself.")] = None
    decimal: Annotated[str | None, Field(max_length=1, description="Decimal mark, . or ,")] = None
    header: Annotated[bool | None, Field(description="Whether the first row names the columns.")] = None
    comment: Annotated[str | None, Field(max_length=10, description="What comment lines begin with.")] = None
    skip_rows: Annotated[int | None, Field(ge=0, le=10_000, description="Lines at the top that are no rows.")] = None
    gauge: Annotated[
        str | None, Field(max_length=120, description="Station of a file of several, by name or number.")
    ] = None
    variable: Annotated[str | None, Field(max_length=120, description="Sea-level variable of a NetCDF file.")] = None
    constituents: Annotated[
        list[str] | None,
        Field(
            max_length=400,
            description="Constituents to fit. Unless given, or auto: what predicts best the parts of the record left "
            "out in turn. rayleigh alone: what the length of the record resolves.",
        ),
    ] = None
    nodal: Annotated[Literal["exact", "linear_time", "none"], Field(description="Nodal corrections.")] = "exact"
    trend: Annotated[bool, Field(description="Fit a linear trend too; it is reported, never predicted.")] = False
    method: Annotated[Literal["ols", "robust"], Field(description="Least squares, or robust ones.")] = "ols"

    quality: Annotated[
        Literal["check", "off"],
        Field(description="Check the record first and leave out what fails, or take it as it is."),
    ] = "check"
    neighbour: Annotated[
        str | None,
        Field(
            max_length=64,
            description="Id of a station of the same type of tide. Lines that the record is too short to separate are "
            "inferred from it, and the zone of the record is checked against it.",
        ),
    ] = None
    infer: Annotated[
        list[str] | None,
        Field(
            max_length=40,
            description="Lines to infer by given ratios, as P1:K1:0.331:-7.1: the line, its reference, its amplitude "
            "over that of the reference, phase lag of the reference minus that of the line in degrees.",
        ),
    ] = None

    def to_request(self) -> FitRequest:
        """Return what the use case takes; DocumentInvalid where hints contradict each other."""
        hints: dict[str, Any] = {
            name: getattr(self, name)
            for name in ("unit", "zone", "datum", "time_format", "time_unit", "ambiguous_times", "delimiter", "decimal",
                         "header", "comment", "skip_rows", "gauge", "variable")
        }  # fmt: skip
        hints |= {name: _column(getattr(self, name)) for name in ("level", "flag")}
        hints |= {name: _list(getattr(self, name)) for name in ("missing", "flag_bad")}
        hints["time"] = self._time()
        if self.valid_min is not None or self.valid_max is not None:
            if self.valid_min is None or self.valid_max is None:
                raise DocumentInvalid(Fault("valid_min", "and valid_max go together", "both, or neither"))
            hints["valid_range"] = [self.valid_min, self.valid_max]
        options: dict[str, Any] = {
            "nodal": self.nodal,
            "trend": self.trend,
            "method": self.method,
            "quality": self.quality,
        }
        if self.constituents == ["rayleigh"]:
            options["constituents"] = "rayleigh"
        elif self.constituents is not None and self.constituents != ["auto"]:
            options["constituents"] = list(self.constituents)
        if self.infer is not None:
            if self.neighbour is not None:
                raise DocumentInvalid(Fault("infer", "and neighbour exclude each other", "one of them"))
            options["infer"] = _inferred(self.infer)
        given = {name: value for name, value in hints.items() if value is not None}
        return FitRequest(self.format, self.latitude, given, options, self.neighbour)

    def _time(self) -> Any:
        if self.time_fields is None:
            columns = None if self.time is None else [_column(column) for column in self.time]
            return columns[0] if columns is not None and len(columns) == 1 else columns
        if self.time is not None:
            raise DocumentInvalid(Fault("time_fields", "and time exclude each other", "one of them"))
        fields: dict[str, Any] = {}
        for part in self.time_fields.split(","):
            name, separator, column = part.strip().partition(":")
            if not separator or name not in _TIME_FIELDS or not column or name in fields:
                expected = f"field:column pairs joined by commas, each field once, of {', '.join(_TIME_FIELDS)}"
                raise DocumentInvalid(Fault("time_fields", f"holds {ascii(part)[:60]}", expected))
            fields[name] = _column(column)
        return fields


def _inferred(given: list[str]) -> dict[str, list[str | float]]:
    """Return lines to infer: name -> reference, ratio of amplitudes, difference of phase [degrees]."""
    lines: dict[str, list[str | float]] = {}
    for text in given:
        name, *rest = text.split(":")
        try:
            reference, ratio, offset = rest
            numbers = float(ratio), float(offset)
        except ValueError:
            numbers = math.nan, math.nan
        if not (all(map(math.isfinite, numbers)) and name and name not in lines):
            expected = "line:reference:amplitude ratio:phase difference, each line once"
            raise DocumentInvalid(Fault("infer", f"holds {ascii(text)[:60]}", expected))
        lines[name] = [reference, *numbers]
    return lines


def _column(given: str | None) -> str | int | None:
    """Return a column by place where the text is a whole number."""
    return int(given) if given is not None and given.isascii() and given.isdigit() and len(given) < 6 else given


def _list(given: list[str] | None) -> list[str | float] | None:
    """Return markers, numbers where they are numbers."""
    if given is None:
        return None
    markers: list[str | float] = []
    for text in given:
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        markers.append(number if math.isfinite(number) else text)
    return markers


class QualityFinding(Schema):
    """One fault of a gauge record."""

    test: Annotated[
        str,
        Field(
            description="range, spike, rate_of_change, flat_line, gap, datum_step, clock_shift, clock_drift, "
            "zone_change or zone."
        ),
    ]
    start: Annotated[str, Field(description="Begin of what it concerns, UTC; a step or shift is here.")]
    end: Annotated[str, Field(description="End of what it concerns, UTC.")]
    size: Annotated[float, Field(description="How large it is, in its unit; + is higher, or a clock ahead.")]
    unit: Literal["m", "min", "h"]
    confidence: Annotated[float, Field(ge=0.0, le=1.0, description="How sure it is that there is a fault.")]
    values: Annotated[int, Field(ge=0, description="Values that it concerns.")]
    handling: Annotated[
        Literal["left_out", "kept"],
        Field(description="left_out: these values do not enter the fit. kept: nothing is corrected or left out."),
    ]
    advice: str


class QualitySummary(Schema):
    """What the check of a record came to."""

    flags: Annotated[dict[str, dict[str, int]], Field(description="Values by test and flag.")]
    left_out: Annotated[int, Field(description="Values that failed or are suspect, and did not enter the fit.")]
    found: Annotated[dict[str, int], Field(description="Number of findings by test.")]
    noise_m: Annotated[
        float | None,
        Field(description="What an hour does not foresee of the next, the tide taken away: standard deviation [m]."),
    ]
    not_evaluated: Annotated[dict[str, str], Field(description="Tests that could not be made, and why.")]


class Quality(QualitySummary):
    """Report of the check of a record: the summary, and its findings."""

    fit_id: str
    findings: Annotated[
        list[QualityFinding], Field(description="In the order of time; of each test the 50 largest at most.")
    ]


class Fit(Schema):
    """A fit of a gauge record, from upload to end."""

    id: str
    station_id: str
    job_id: Annotated[str, Field(description="The job that does it; state, times and problem are its own.")]
    state: Literal["queued", "running", "done", "failed", "cancelled"]
    problem: WorkProblem | None
    record_sha256: str
    record_bytes: int
    options: Annotated[dict[str, Any], Field(description="How the record was read and fitted.")]
    record: Annotated[
        dict[str, Any] | None,
        Field(description="Report of the record: what was found in it and done to it; of several files, `parts`."),
    ]
    diagnostics: Annotated[
        dict[str, Any] | None,
        Field(
            description="Residual RMS [m], variance explained, skill, SNR, what was dropped, what was inferred and "
            "from where, and more; choice explains how the constituents were chosen: what was tried, its error out of "
            "sample [m], what was taken."
        ),
    ]
    quality: Annotated[
        QualitySummary | None,
        Field(description="What the check of the record came to; null where it was not checked."),
    ]
    adopted_version: Annotated[int | None, Field(description="Version of the station that its model has become.")]
    created_at: InstantText
    started_at: InstantText | None
    finished_at: InstantText | None


class FitList(Schema):
    """A page of fits."""

    items: list[Fit]
    next_cursor: str | None


def write_fit(record: FitRecord) -> dict[str, Any]:
    """Return a fit as `Fit` has it."""
    diagnostics = (record.report or {}).get("diagnostics")
    quality = (diagnostics or {}).get("quality")
    return {
        "id": record.fit_id,
        "station_id": record.station_id,
        "job_id": record.job_id,
        "state": record.state,
        "problem": write_problem(record.problem),
        "record_sha256": record.record_sha256,
        "record_bytes": record.record_bytes,
        "options": dict(record.options),
        "record": (record.report or {}).get("record"),
        "diagnostics": None if diagnostics is None else {k: v for k, v in diagnostics.items() if k != "quality"},
        "quality": None if quality is None else {name: quality[name] for name in QualitySummary.model_fields},
        "adopted_version": record.adopted_version,
        "created_at": write_instant(record.created_at),
        "started_at": None if record.started_at is None else write_instant(record.started_at),
        "finished_at": None if record.finished_at is None else write_instant(record.finished_at),
    }


def write_quality(fit_id: str, report: Mapping[str, Any]) -> dict[str, Any]:
    """Return the report of a check as `Quality` has it."""
    return {"fit_id": fit_id, **report}


def write_fits(page: Page[FitRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `FitList` has it."""
    return {"items": [write_fit(record) for record in page.items], "next_cursor": cursor}
