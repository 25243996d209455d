"""Trips in requests and answers: the record as it is stored, and what follows from it."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

import orjson
from pydantic import ConfigDict, Field, JsonValue

from service.api.editing import merge_patch
from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.usecases.documents import Draft
from service.usecases.logged import LogPage
from service.usecases.marks import MarkView
from service.usecases.records import DocumentRecord
from service.usecases.references import ExternalRef
from service.usecases.stored_trips import StoredTrip
from service.usecases.trips import TripShown, TripView, keep_corrections
from tidecore.catchlog import (
    Correction,
    Deployment,
    Effort,
    ReachRemark,
    TripRecord,
    effort_of,
    effort_on_record,
    reach_remark,
)
from tidecore.catchlog.moments import Moment
from tidecore.catchlog.record import RecordPath
from tidecore.place import Document, Name, Note

EXAMPLE: dict[str, Any] = {
    "trip": {
        "mark": "pellwick-long-beach",
        "start": "2026-05-02T17:30:00Z",
        "end": "2026-05-02T21:15:00Z",
        "outcome": "fished",
        "target": [{"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "bass"}],
        "clarity_seen": "tinge",
        "weed_seen": "odd_strand",
        "why_left": "The ebb had run off.",
    },
    "deployments": [
        {
            "ref": "near",
            "rod": "first",
            "start": "2026-05-02T17:40:00Z",
            "end": "2026-05-02T20:50:00Z",
            "method": "surf-short",
            "reach": {"metres": 60, "known": "guessed"},
            "casts": [
                {"out": "2026-05-02T17:45:00Z", "in": "2026-05-02T18:10:00Z", "bait_back": "crabbed"},
                {"out": "2026-05-02T18:14:00Z", "in": "2026-05-02T18:42:00Z", "bait_back": "stripped"},
            ],
        },
        {"ref": "far", "rod": "second", "start": "2026-05-02T17:50:00Z", "end": "2026-05-02T20:50:00Z"},
    ],
    "bites": [{"at": "2026-05-02T18:30:00Z", "deployment": "near", "kind": "slack_line", "outcome": "missed"}],
    "catches": [
        {
            "at": "2026-05-02T18:42:00Z",
            "deployment": "near",
            "species": {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "bass"},
            "length": {"cm": 47, "kind": "total"},
            "fate": "returned",
            "condition": "alive",
        }
    ],
    "external_ref": "trip-2026-05-02",
}
PATCH_EXAMPLE: dict[str, Any] = {"trip": {"notes": "The second rod stood behind the bank.", "others_rods": 3}}
CORRECTION_EXAMPLE: dict[str, Any] = {
    "path": "catches.0.length.cm", "was": 47, "now": 44, "why": "Misread by the light of the lamp."
}  # fmt: skip


class TripCreate(TripRecord):
    """A trip to be logged, whole: fished, a blank, or not fished; `trip.mark` is an id or an external_ref."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    external_ref: ExternalRef | None = None

    def to_draft(self) -> Draft[TripRecord]:
        """Return the trip, and what the account calls it."""
        record = TripRecord.model_construct(**{name: getattr(self, name) for name in TripRecord.model_fields})
        return Draft(record, self.external_ref)


class TripRestore(Document):
    """Which version is to be the newest again."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"version": 1}]})

    version: Annotated[int, Field(ge=1, le=1_000_000)]


class TripCorrection(Document):
    """What is put right: `path` in the record, what stands there, what is to stand there, and why."""

    path: RecordPath
    was: JsonValue
    now: JsonValue
    at: Annotated[Moment | None, Field(description="When it was put right; now unless given.")] = None
    why: Note = ""
    by: Name | None = None


class TripCorrections(Document):
    """Corrections of one trip, made one after the other."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"corrections": [CORRECTION_EXAMPLE]}]})

    corrections: Annotated[tuple[TripCorrection, ...], Field(min_length=1, max_length=100)]

    def to_corrections(self, now: datetime) -> list[Correction]:
        """Return the corrections, those without a time put right ``now``."""
        return [Correction(**{**dict(one), "at": one.at or now}) for one in self.corrections]


class RodEffort(Schema):
    """Effort in rod-hours: of baits in the water, and of rods in use."""

    bait_on_h: Annotated[
        float | None,
        Field(
            description="Hours that baits were in the water, by the casts on record; a lower bound unless "
            "`bait_on_known`, null where no cast is on record."
        ),
    ]
    raw_rod_h: Annotated[
        float | None,
        Field(description="Hours that rods were in use; null of a trip that was fished with no rod on record."),
    ]
    bait_on_known: Annotated[bool, Field(description="Whether the casts of every deployment are on record.")]


class LikelyReach(Schema):
    """What is to be said of a reach; the number given is never changed."""

    metres: float
    from_m: Annotated[float, Field(description="Where it probably lies; the reach itself unless guessed.")]
    to_m: float
    remark: str


class DeploymentTold(Schema):
    """What follows from one deployment."""

    ref: str
    effort: RodEffort
    reach: LikelyReach | None


class LoggedTrip(Schema):
    """A trip in one version."""

    id: str
    version: int
    external_ref: str | None
    mark_id: str
    mark_version: int
    time_zone: Annotated[str, Field(description="Zone of the mark; its clocks tell the local dates.")]
    date_local: Annotated[DateText, Field(description="Local day of the start.")]
    end_date_local: Annotated[DateText | None, Field(description="Local day of the end, where it has one.")]
    record: Annotated[TripRecord, Field(description="The trip as it is stored: what PUT takes back.")]
    effort: RodEffort
    deployments: list[DeploymentTold]
    created_at: InstantText
    updated_at: InstantText


class LoggedTripList(Schema):
    """A page of trips, by their start."""

    items: list[LoggedTrip]
    next_cursor: str | None


class TripCorrectionList(Schema):
    """The corrections of a trip, in the order in which they were made; older versions hold what they corrected."""

    trip_id: str
    version: int
    items: list[Correction]


def patched_trip(view: TripView, patch: dict[str, Any]) -> Draft[TripRecord]:
    """Return what a trip says once patched; InvalidInput if that is none."""
    current = {**view.document.to_document(), "external_ref": view.record.external_ref}
    return replaced_trip(view, TripCreate.parse(merge_patch(current, patch)).to_draft())


def replaced_trip(view: TripView, draft: Draft[TripRecord]) -> Draft[TripRecord]:
    """Return what replaces a trip, with the corrections on record."""
    return Draft(keep_corrections(view.document, draft.document), draft.external_ref)


def write_trip(shown: TripShown) -> dict[str, Any]:
    """Return a trip as `LoggedTrip` has it."""
    log = shown.view.document
    return _written(
        shown.view.record,
        write_place(shown),
        _last_day(log.trip.end, shown.mark),
        log.to_document(),
        effort_on_record(log),
        [write_deployment(one) for one in log.deployments],
    )


def _written(
    record: DocumentRecord,
    place: dict[str, Any],
    last_day: str | None,
    document: Any,
    effort: Effort | None,
    deployments: list[dict[str, Any]],
) -> dict[str, Any]:
    return {
        "id": record.id,
        "version": record.version,
        "external_ref": record.external_ref,
        **place,
        "end_date_local": last_day,
        "record": document,
        "effort": write_effort(effort),
        "deployments": deployments,
        "created_at": write_instant(record.created_at),
        "updated_at": write_instant(record.updated_at),
    }


def _local_day(instant: datetime, mark: MarkView) -> str:
    return instant.astimezone(mark.document.zone).date().isoformat()


def _last_day(end: datetime | None, mark: MarkView) -> str | None:
    return None if end is None else _local_day(end, mark)


def write_place(shown: TripShown) -> dict[str, Any]:
    """Return where a trip was, and on which local day."""
    return _place(shown.mark, shown.view.document.trip.start)


def _place(mark: MarkView, start: datetime) -> dict[str, Any]:
    return {
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "time_zone": mark.document.time_zone,
        "date_local": _local_day(start, mark),
    }


def write_trips(page: LogPage[TripShown], cursor: str | None) -> dict[str, Any]:
    """Return a page as `LoggedTripList` has it."""
    return {"items": [write_trip(one) for one in page.items], "next_cursor": cursor}


def write_stored_trips(page: LogPage[StoredTrip], cursor: str | None) -> dict[str, Any]:
    """Return a page of trips that were not read as `LoggedTripList` has it."""
    items = [
        _written(
            one.record,
            _place(one.mark, one.start),
            _last_day(one.end, one.mark),
            orjson.Fragment(one.text),
            one.effort,
            [_told(part.ref, part.effort, part.reach) for part in one.deployments],
        )
        for one in page.items
    ]
    return {"items": items, "next_cursor": cursor}


def write_corrections(shown: TripShown) -> dict[str, Any]:
    """Return the corrections of a trip as `TripCorrectionList` has them."""
    found = [one.to_document() for one in shown.view.document.corrections]
    return {"trip_id": shown.view.record.id, "version": shown.view.record.version, "items": found}


def write_deployment(deployment: Deployment) -> dict[str, Any]:
    """Return what follows from a deployment as `DeploymentTold` has it."""
    reach = deployment.reach
    remark = None if reach is None else reach_remark(reach.metres, reach.known)
    return _told(deployment.ref, effort_of([deployment]), remark)


def _told(ref: str, effort: Effort, remark: ReachRemark | None) -> dict[str, Any]:
    reach = None
    if remark is not None:
        near, far = (number(one, 1) for one in remark.likely_m)
        reach = {"metres": remark.metres, "from_m": near, "to_m": far, "remark": remark.text}
    return {"ref": ref, "effort": write_effort(effort), "reach": reach}


def write_effort(effort: Effort | None) -> dict[str, Any]:
    """Return effort as `RodEffort` has it, to a second; None where nothing is known of it."""
    if effort is None:
        return {"bait_on_h": None, "raw_rod_h": None, "bait_on_known": False}
    none_known = effort.raw_us > 0 and effort.uncast_us == effort.raw_us
    return {
        "bait_on_h": None if none_known else number(effort.bait_on_h, 4),
        "raw_rod_h": number(effort.raw_rod_h, 4),
        "bait_on_known": effort.bait_on_known,
    }
