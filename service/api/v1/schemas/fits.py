"""Fits in requests and answers."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema, WorkProblem, write_problem
from service.errors import DocumentInvalid
from service.usecases.fits import FitRequest
from service.usecases.page import Page
from service.usecases.records import FitRecord
from tidecore.errors import Fault

#: Fields of a time that may stand in columns of their own.
_TIME_FIELDS = ("year", "month", "day", "hour", "minute", "second", "day_of_year")


class FitQuery(BaseModel):
    """What the record does not say itself, and how to fit it. Hints that the format does not take are refused."""

    model_config = ConfigDict(extra="forbid")

    format: Annotated[
        str | None,
        Field(max_length=40, description="Format: csv, uhslc-hourly or cf-netcdf; recognised unless given."),
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

    def to_request(self) -> FitRequest:
        """Return what the use case takes; DocumentInvalid where hints contradict each other."""
        hints: dict[str, Any] = {
            name: getattr(self, name)
            for name in ("unit", "zone", "datum", "time_format", "time_unit", "ambiguous_times", "delimiter", "decimal",
                         "header", "comment", "skip_rows", "variable")
        }  # fmt: skip
        hints |= {name: _column(getattr(self, name)) for name in ("level", "flag")}
        hints |= {name: _list(getattr(self, name)) for name in ("missing", "flag_bad")}
        hints["time"] = self._time()
        if self.valid_min is not None or self.valid_max is not None:
            if self.valid_min is None or self.valid_max is None:
                raise DocumentInvalid(Fault("valid_min", "and valid_max go together", "both, or neither"))
            hints["valid_range"] = [self.valid_min, self.valid_max]
        options: dict[str, Any] = {"nodal": self.nodal, "trend": self.trend, "method": self.method}
        if self.constituents == ["rayleigh"]:
            options["constituents"] = "rayleigh"
        elif self.constituents is not None and self.constituents != ["auto"]:
            options["constituents"] = list(self.constituents)
        given = {name: value for name, value in hints.items() if value is not None}
        return FitRequest(self.format, self.latitude, given, options)

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
        dict[str, Any] | None, Field(description="Report of the record: what was found in it and done to it.")
    ]
    diagnostics: Annotated[
        dict[str, Any] | None,
        Field(
            description="Residual RMS [m], variance explained, skill, SNR, what was dropped, and more; choice explains "
            "how the constituents were chosen: what was tried, its error out of sample [m], what was taken."
        ),
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
    report = record.report or {}
    return {
        "id": record.fit_id,
        "station_id": record.station_id,
        "job_id": record.job_id,
        "state": record.state,
        "problem": write_problem(record.problem),
        "record_sha256": record.record_sha256,
        "record_bytes": record.record_bytes,
        "options": dict(record.options),
        "record": report.get("record"),
        "diagnostics": report.get("diagnostics"),
        "adopted_version": record.adopted_version,
        "created_at": write_instant(record.created_at),
        "started_at": None if record.started_at is None else write_instant(record.started_at),
        "finished_at": None if record.finished_at is None else write_instant(record.finished_at),
    }


def write_fits(page: Page[FitRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `FitList` has it."""
    return {"items": [write_fit(record) for record in page.items], "next_cursor": cursor}
