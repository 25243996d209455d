"""What the rules on file say of the catches of a trip, in answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from service.api.instants import local_date, to_numpy
from service.api.v1.schemas.common import DateText, Schema
from service.api.v1.schemas.regulation_findings import (
    CAUTION,
    FindingSchema,
    RuleUsed,
    ids_of,
    write_finding,
    write_rules_used,
)
from service.usecases.trip_regulations import NOTHING_KEPT, TripJudged, kept_of
from tidecore.catchlog.findings import Verdict


class CatchFinding(FindingSchema):
    """What one rule on file says of one matter of some catches."""

    catches: Annotated[list[str], Field(description="The `ref` of each catch of the trip that it is about.")]


class OtherTrip(Schema):
    """Another trip on a local day of this one, whose catches fill the same bags."""

    id: str
    version: int
    mark_id: str
    kept: Annotated[int, Field(description="How many were kept on it, of all species.")]


class TripRegulations(Schema):
    """What the rules on file say of what was kept on a trip, the worst first."""

    trip_id: str
    trip_version: int
    mark_id: str
    mark_version: int
    time_zone: str
    date_local: DateText
    areas: Annotated[list[str], Field(description="Areas whose rules hold at the mark, as it names them now.")]
    kept: Annotated[int, Field(description="How many were kept; those returned are not judged.")]
    anglers: Annotated[
        int, Field(description="How many there were at most, other trips of the day too; a bag is each angler's.")
    ]
    verdict: Annotated[Verdict | None, Field(description="The worst of the findings; null where nothing was kept.")]
    text: Annotated[str, Field(description="What the verdict is of, and that the authority is to be asked.")]
    findings: list[CatchFinding]
    rules: list[RuleUsed]
    stale_rules: Annotated[list[str], Field(description="Ids of those that are over 12 months old today.")]
    other_trips: list[OtherTrip]
    caution: str


def write_trip_regulations(found: TripJudged) -> dict[str, Any]:
    """Return what the rules say of a trip as `TripRegulations` has it."""
    trip, mark, ids = found.trip, found.at.mark, ids_of(found.at.rules)
    rules = write_rules_used(found.at)
    verdict, kept = found.verdict, len(kept_of(trip))
    text = NOTHING_KEPT if verdict is None else found.findings[0].text
    return {
        "trip_id": trip.record.id,
        "trip_version": trip.record.version,
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "time_zone": mark.document.time_zone,
        "date_local": local_date(to_numpy(trip.document.trip.start), mark.document.zone),
        "areas": list(mark.document.regulation_areas),
        "kept": kept,
        "anglers": found.anglers,
        "verdict": verdict,
        "text": text,
        "findings": [
            {**write_finding(one, ids), "catches": [trip.document.catches[place].ref for place in one.catches]}
            for one in found.findings
        ],
        "rules": rules,
        "stale_rules": [one["id"] for one in rules if one["stale"]],
        "other_trips": [
            {
                "id": one.record.id,
                "version": one.record.version,
                "mark_id": one.document.trip.mark,
                "kept": len(kept_of(one)),
            }
            for one in found.others
        ],
        "caution": CAUTION,
    }
