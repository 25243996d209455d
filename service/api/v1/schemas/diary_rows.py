"""Coarse rows of old diaries in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.usecases.diary_rows import DiaryRowShown, DiaryRowView
from service.usecases.documents import Draft
from service.usecases.logged import LogPage
from service.usecases.references import ExternalRef
from tidecore.catchlog import DiaryRow
from tidecore.timebase import from_microseconds

EXAMPLE: dict[str, Any] = {
    "date": "2019-11-16",
    "mark": "pellwick-long-beach",
    "tide": {"event": "high_water", "from_h": -2, "to_h": 2, "which": "second"},
    "rods": 2,
    "caught": [{"species": {"scientific_name": "Merlangius merlangus", "fao_code": "WHG"}, "count": 4}],
    "outcome": "fished",
    "external_ref": "diary-2019-11-16",
}
PATCH_EXAMPLE: dict[str, Any] = {"rods": 1, "notes": "The second rod was lent."}


class DiaryRowCreate(DiaryRow):
    """A row of an old diary: `hours` by the clocks of the mark, or `tide` hours about high or low water, or neither."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_draft(self) -> Draft[DiaryRow]:
        """Return the row, and what the account calls it."""
        row = DiaryRow.model_construct(**{name: getattr(self, name) for name in DiaryRow.model_fields})
        return Draft(row, self.external_ref)


class DiarySpan(Schema):
    """From when until when, as far as the row tells."""

    start: InstantText
    end: InstantText


class CoarseEffortSchema(Schema):
    """What a row tells of effort: always coarse, and never mixed with what was logged cast by cast."""

    coarse: Annotated[bool, Field(description="Always true.")]
    rod_hours: Annotated[float | None, Field(description="Hours times rods; null where the row does not say when.")]
    spans: Annotated[list[DiarySpan], Field(description="None where it is not sure which water of the day is meant.")]
    notes: Annotated[list[str], Field(description="What is not sure, as hours about a change of the clocks.")]
    station_id: Annotated[str | None, Field(description="Station whose tide tells the hours; null where none does.")]
    station_version: int | None


class LoggedDiaryRow(Schema):
    """A row of an old diary in one version."""

    id: str
    version: int
    external_ref: str | None
    mark_id: str
    mark_version: int
    time_zone: Annotated[str, Field(description="Zone of the mark, by whose clocks `date` and `hours` are.")]
    date_local: DateText
    row: Annotated[DiaryRow, Field(description="The row as it is stored: what PUT takes back.")]
    effort: CoarseEffortSchema
    created_at: InstantText
    updated_at: InstantText


class LoggedDiaryRowList(Schema):
    """A page of rows, by their day."""

    items: list[LoggedDiaryRow]
    next_cursor: str | None


def patched_row(view: DiaryRowView, patch: dict[str, Any]) -> Draft[DiaryRow]:
    """Return what a row says once patched; InvalidInput if that is none."""
    current = {**view.document.to_document(), "external_ref": view.record.external_ref}
    return DiaryRowCreate.parse(merge_patch(current, patch)).to_draft()


def write_row(shown: DiaryRowShown) -> dict[str, Any]:
    """Return a row as `LoggedDiaryRow` has it."""
    record, row, mark = shown.view.record, shown.view.document, shown.mark
    return {
        "id": record.id,
        "version": record.version,
        "external_ref": record.external_ref,
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "time_zone": mark.document.time_zone,
        "date_local": row.date,
        "row": row.to_document(),
        "effort": _write_effort(shown),
        "created_at": write_instant(record.created_at),
        "updated_at": write_instant(record.updated_at),
    }


def write_rows(page: LogPage[DiaryRowShown], cursor: str | None) -> dict[str, Any]:
    """Return a page as `LoggedDiaryRowList` has it."""
    return {"items": [write_row(one) for one in page.items], "next_cursor": cursor}


def _write_effort(shown: DiaryRowShown) -> dict[str, Any]:
    effort, served = shown.effort(), shown.served
    spans = [[write_instant(edge) for edge in from_microseconds(span)] for span in effort.spans_us]
    return {
        "coarse": True,
        "rod_hours": number(effort.rod_hours, 4),
        "spans": [{"start": start, "end": end} for start, end in spans],
        "notes": list(effort.notes),
        "station_id": None if served is None else served.station.station_id,
        "station_version": None if served is None else served.version,
    }
