"""Conditions in requests and answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from service.api.instants import Instant, write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.errors import DocumentInvalid
from service.usecases.condition_issues import ConditionView, KeptIssues
from service.usecases.conditions import MarkConditions
from service.usecases.page import Page
from service.usecases.placed import Place
from service.usecases.records import ConditionRecord
from tidecore.conditions import ConditionIssue, read_conditions
from tidecore.errors import Fault
from tidecore.place import Document, Name
from tidecore.timebase import TimeSpan

Kind = Literal["forecast", "observation"]
WavesAt = Literal["offshore", "at_mark"]
PeriodKind = Literal["peak", "energy", "zero_crossing"]

EXAMPLE: dict[str, Any] = {
    "area": "Pellwick shore",
    "kind": "forecast",
    "source": "Invented marine forecast",
    "issued_at": "2026-06-01T00:00:00Z",
    "waves_at": "offshore",
    "wave_period_kind": "peak",
    "times": ["2026-06-01T00:00:00Z", "2026-06-01T03:00:00Z", "2026-06-01T06:00:00Z"],
    "values": {
        "wave_height_m": [0.8, 1.1, 1.5],
        "wave_period_s": [7.0, 7.5, 8.0],
        "wind_speed_m_per_s": [6.0, 8.5, None],
        "wind_from_degree": [240, 250, 255],
    },
}
CSV_BODY_EXAMPLE = (
    "time,wave_height_m,wave_period_s,wind_speed_m_per_s,wind_from_degree\r\n"
    "2026-06-01T00:00:00Z,0.8,7.0,6.0,240\r\n2026-06-01T03:00:00Z,1.1,7.5,8.5,250\r\n"
)

MarkRef = Annotated[str, Field(min_length=1, max_length=64, description="Id of a mark.")]
AreaRef = Annotated[Name, Field(description="Name of an area, as marks have it for their conditions_area.")]


class ConditionCreate(ConditionIssue):
    """One issue of conditions, of a mark or of an area."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    mark_id: MarkRef | None = None
    area: AreaRef | None = None

    @property
    def place(self) -> Place:
        """What it is told of."""
        return Place(self.mark_id, self.area)


class ConditionQuery(Document):
    """What a body of CSV or NetCDF does not say; with JSON none of it is given."""

    mark_id: MarkRef | None = None
    area: AreaRef | None = None
    kind: Annotated[Kind | None, Field(description="Which of the two the body is.")] = None
    source: Annotated[Name | None, Field(description="Whose it is.")] = None
    issued_at: Annotated[Instant | None, Field(description="When it was issued, with its offset.")] = None
    valid_until: Annotated[Instant | None, Field(description="Until when it holds, if it says.")] = None
    waves_at: Annotated[WavesAt | None, Field(description="Where the waves are; needed with waves.")] = None
    wave_period_kind: Annotated[
        PeriodKind | None, Field(description="Which period wave_period_s is; needed with it.")
    ] = None

    def said(self) -> dict[str, str]:
        """Return what is said beside a file, as an issue has it."""
        given = self.model_dump(exclude={"mark_id", "area"}, exclude_none=True)
        return {
            name: value.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z" if isinstance(value, datetime) else value
            for name, value in given.items()
        }


class ConditionSummary(Schema):
    """An issue of conditions, without its values."""

    id: str
    mark_id: Annotated[str | None, Field(description="The mark that it is told of; null where that is an area.")]
    area: Annotated[str | None, Field(description="The area that it is told of; null where that is a mark.")]
    kind: Kind
    source: str
    issued_at: InstantText
    valid_until: InstantText | None
    waves_at: WavesAt | None
    starts_at: Annotated[InstantText, Field(description="Its first time.")]
    ends_at: Annotated[InstantText, Field(description="Its last time; nothing is said of what comes after.")]
    variables: list[str]
    values_count: Annotated[int, Field(description="Times x variables.")]
    created_at: InstantText


class Condition(ConditionSummary):
    """An issue of conditions: its times, and at each the values of its variables."""

    wave_period_kind: Annotated[PeriodKind | None, Field(description="Which period wave_period_s is.")]
    times: list[InstantText]
    values: Annotated[
        dict[str, list[float | str | None]], Field(description="By variable, one for each time; null where unknown.")
    ]


class ConditionsKept(Schema):
    """The issues that a body holds, as they are kept."""

    items: list[ConditionSummary]


class ConditionList(Schema):
    """A page of issues."""

    items: list[ConditionSummary]
    next_cursor: str | None


def create_schema() -> dict[str, Any]:
    """Return the JSON Schema of `ConditionCreate`, whole in itself."""
    schema = ConditionCreate.model_json_schema()
    parts = schema.pop("$defs", {})

    def whole(value: Any) -> Any:
        if isinstance(value, dict):
            reference = value.get("$ref")
            return whole(parts[reference.rpartition("/")[2]]) if reference else {k: whole(v) for k, v in value.items()}
        return [whole(one) for one in value] if isinstance(value, list) else value

    return {name: whole(value) for name, value in schema.items()}


def read_issues(query: ConditionQuery, media: str, raw: bytes, document: Any) -> tuple[Place, Sequence[ConditionIssue]]:
    """Return the issues that a body holds, and what they are told of.

    Raises
    ------
    InvalidInput
        With the faults of the document or of the file.
    DocumentInvalid
        If parameters are given beside JSON.
    """
    if media == "application/json":
        given = sorted(query.model_dump(exclude_none=True))
        if given:
            raise DocumentInvalid([Fault(name, "is given beside a JSON body", "it in the body") for name in given])
        create = ConditionCreate.parse(document)
        return create.place, [ConditionIssue.parse(create.model_dump(exclude={"mark_id", "area"}))]
    form: Literal["csv", "netcdf"] = "csv" if media == "text/csv" else "netcdf"
    return Place(query.mark_id, query.area), read_conditions(raw, form, **query.said())


def write_condition(view: ConditionView) -> dict[str, Any]:
    """Return an issue as `Condition` has it."""
    document = view.document
    return {
        **write_summary(view.record),
        "wave_period_kind": document.get("wave_period_kind"),
        "times": list(document["times"]),
        "values": document["values"],
    }


def write_summary(record: ConditionRecord) -> dict[str, Any]:
    """Return an issue as `ConditionSummary` has it."""
    summary: Mapping[str, Any] = record.summary
    return {
        "id": record.id,
        "mark_id": record.mark_id,
        "area": record.area,
        "kind": record.kind,
        "source": record.source,
        "issued_at": write_instant(record.issued_at),
        "valid_until": None if record.valid_until is None else write_instant(record.valid_until),
        "waves_at": summary["waves_at"],
        "starts_at": write_instant(record.starts_at),
        "ends_at": write_instant(record.ends_at),
        "variables": list(summary["variables"]),
        "values_count": record.points,
        "created_at": write_instant(record.created_at),
    }


def write_kept(kept: KeptIssues) -> dict[str, Any]:
    """Return issues as `ConditionsKept` has them."""
    return {"items": [write_summary(one.view.record) for one in kept]}


def write_conditions(page: Page[ConditionRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `ConditionList` has it."""
    return {"items": [write_summary(record) for record in page.items], "next_cursor": cursor}


def write_told(conditions: Mapping[str, MarkConditions], span: TimeSpan) -> dict[str, dict[str, Any]]:
    """Return by mark what an answer about several marks rests on: ids of issues and warnings, and what is said."""
    # Marks of one area have one and the same conditions, and what is said of them is said once.
    said: dict[int, list[str]] = {}
    written = {}
    for key, told in conditions.items():
        if id(told.merged) not in said:
            said[id(told.merged)] = list(told.said(span))
        written[key] = {
            "condition_ids": [one.id for one in told.issues],
            "warning_ids": [one.id for one in told.warnings],
            "said": said[id(told.merged)],
        }
    return written
