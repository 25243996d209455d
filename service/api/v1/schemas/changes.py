"""The list of changes in answers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.changes import ChangePage
from service.usecases.records import ChangeRecord


class ChangeItem(Schema):
    """The latest change of one thing; a deleted thing keeps its place here."""

    kind: Annotated[
        str,
        Field(
            description="Kind of thing: station, mark, slack_note, condition, warning, species_rule, method, "
            "safety_thresholds, trip, diary_row, regulation, plan."
        ),
    ]
    id: str
    change: Literal["created", "updated", "deleted"]
    version: Annotated[int | None, Field(description="Version it now has; null once deleted.")]
    changed_at: InstantText


class ChangeList(Schema):
    """Changes in the order in which they were committed."""

    items: list[ChangeItem]
    next_after: Annotated[str, Field(description="Give it as `after` to go on from here, now or in a month.")]
    more: Annotated[bool, Field(description="Whether there are more changes already.")]


def write_changes(page: ChangePage, cursor: str) -> dict[str, Any]:
    """Return changes as `ChangeList` has them."""
    return {"items": [_write_change(one) for one in page.changes], "next_after": cursor, "more": page.more}


def _write_change(record: ChangeRecord) -> dict[str, Any]:
    change = record.change
    return {
        "kind": change.kind,
        "id": change.thing_id,
        "change": change.change,
        "version": change.version,
        "changed_at": write_instant(change.changed_at),
    }
