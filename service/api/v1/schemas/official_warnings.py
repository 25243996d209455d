"""Official warnings in answers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.official_warnings import KeptWarnings, WarningView
from service.usecases.page import Page
from service.usecases.records import WarningRecord
from tidecore.conditions import OfficialWarning as CoreWarning

CAP_EXAMPLE = """\
<?xml version="1.0" encoding="UTF-8"?>
<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2">
  <identifier>invented-gale-1</identifier>
  <sender>office@weather.invalid</sender>
  <sent>2026-06-01T04:00:00-00:00</sent>
  <status>Actual</status>
  <msgType>Alert</msgType>
  <scope>Public</scope>
  <info>
    <category>Met</category>
    <event>Gale</event>
    <urgency>Expected</urgency>
    <severity>Severe</severity>
    <certainty>Likely</certainty>
    <onset>2026-06-01T12:00:00-00:00</onset>
    <expires>2026-06-02T06:00:00-00:00</expires>
    <headline>Invented gale warning</headline>
    <area>
      <areaDesc>Pellwick shore</areaDesc>
      <circle>51.2,-20.4 40</circle>
    </area>
  </info>
</alert>
"""

Severity = Literal["unknown", "minor", "moderate", "severe", "extreme"]
MsgType = Literal["alert", "update", "cancel"]


class WarningSummary(Schema):
    """One block of an official warning, without its text."""

    id: str
    mark_id: Annotated[str | None, Field(description="The mark that it was given for.")]
    area: Annotated[
        str | None, Field(description="The area that it was given for; without either it holds where it says itself.")
    ]
    identifier: str
    sender: str
    sent_at: InstantText
    msg_type: MsgType
    block: Annotated[int, Field(description="Which info block of the alert it is, from 0.")]
    event: str
    severity: Severity
    created_at: InstantText


class WarningReference(Schema):
    """An earlier alert that an alert takes the place of."""

    sender: str
    identifier: str
    sent_at: InstantText


class WarningArea(Schema):
    """Where a warning holds by its own words."""

    description: str
    polygons: list[list[list[float]]]
    circles: list[dict[str, float]]


class OfficialWarning(WarningSummary):
    """One block of an official warning as it was given."""

    language: str
    headline: str
    description: str
    instruction: str
    urgency: str
    certainty: str
    effective: InstantText | None
    onset: InstantText | None
    expires: InstantText | None
    in_force_from: InstantText
    in_force_until: Annotated[
        InstantText, Field(description="24 h after its beginning where it states no end, or expires before it.")
    ]
    references: list[WarningReference]
    areas: list[WarningArea]


class WarningsKept(Schema):
    """The blocks of an alert, as they are kept."""

    items: list[WarningSummary]


class WarningList(Schema):
    """A page of warnings."""

    items: list[WarningSummary]
    next_cursor: str | None


def write_summary(record: WarningRecord) -> dict[str, Any]:
    """Return a warning as `WarningSummary` has it."""
    return {
        "id": record.id,
        "mark_id": record.mark_id,
        "area": record.area,
        "identifier": record.identifier,
        "sender": record.sender,
        "sent_at": write_instant(record.sent_at),
        "msg_type": record.summary["msg_type"],
        "block": record.summary["block"],
        "event": record.summary["event"],
        "severity": record.summary["severity"],
        "created_at": write_instant(record.created_at),
    }


def write_warning(view: WarningView) -> dict[str, Any]:
    """Return a warning as `OfficialWarning` has it."""
    warning = CoreWarning.parse(view.document)

    def moment(name: str) -> str | None:
        found = getattr(warning, name)
        return None if found is None else write_instant(found)

    texts = ("language", "headline", "description", "instruction", "urgency", "certainty")
    times = ("effective", "onset", "expires", "in_force_from", "in_force_until")
    return {
        **write_summary(view.record),
        **{name: getattr(warning, name) for name in texts},
        **{name: moment(name) for name in times},
        "references": [
            {"sender": one.sender, "identifier": one.identifier, "sent_at": write_instant(one.sent)}
            for one in warning.references
        ],
        "areas": [one.to_document() for one in warning.areas],
    }


def write_kept(kept: KeptWarnings) -> dict[str, Any]:
    """Return warnings as `WarningsKept` has them."""
    return {"items": [write_summary(one.view.record) for one in kept]}


def write_warnings(page: Page[WarningRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `WarningList` has it."""
    return {"items": [write_summary(record) for record in page.items], "next_cursor": cursor}
