"""Deployments, bites and catches of a trip, one by one, in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any, TypeVar

from pydantic import ConfigDict, Field

from service.api.editing import merge_patch
from service.api.instants import local_date, to_numpy
from service.api.v1.schemas.common import DateText, Schema
from service.api.v1.schemas.trips import EXAMPLE, LikelyReach, RodEffort, write_deployment
from service.usecases.trip_parts import Part, PartShown
from service.usecases.trips import TripShown
from tidecore.catchlog import Bite, Catch, Deployment, TripPart

P = TypeVar("P", bound=TripPart)

DEPLOYMENT_PATCH: dict[str, Any] = {"line": "dragged", "snags": 1}
BITE_PATCH: dict[str, Any] = {"outcome": "lost_in_surf"}
CATCH_PATCH: dict[str, Any] = {"weight": {"grams": 1150, "how": "measured"}}


def _example(field: str) -> dict[str, Any]:
    """Return a thing as it is sent alone: without a ``ref``, of no deployment in particular."""
    return {name: value for name, value in EXAMPLE[field][0].items() if name not in ("ref", "deployment")}


class DeploymentCreate(Deployment):
    """One rod with one method in use, with its casts; `ref` is made where it is left out."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "rod": "third",
                    "start": "2026-05-02T18:00:00Z",
                    "end": "2026-05-02T19:00:00Z",
                    "changes": [{"at": "2026-05-02T18:30:00Z", "what": "range", "to": "nearer"}],
                    "casts": [{"out": "2026-05-02T18:02:00Z", "in": "2026-05-02T18:29:00Z", "bait_back": "whole"}],
                }
            ]
        }
    )


class BiteCreate(Bite):
    """A bite; `ref` is made where it is left out."""

    model_config = ConfigDict(json_schema_extra={"examples": [_example("bites")]})


class CatchCreate(Catch):
    """One fish; `ref` is made where it is left out."""

    model_config = ConfigDict(json_schema_extra={"examples": [_example("catches")]})


class _OfTrip(Schema):
    trip_id: str
    trip_version: Annotated[int, Field(description="Every edit is a version of the trip; the ETag is the trip's, too.")]
    time_zone: str


class LoggedDeployment(_OfTrip):
    """A deployment of a trip, and what follows from it."""

    ref: str
    date_local: Annotated[DateText, Field(description="Local day of its start.")]
    deployment: Deployment
    effort: RodEffort
    reach: LikelyReach | None


class LoggedBite(_OfTrip):
    """A bite of a trip."""

    ref: str
    date_local: Annotated[DateText, Field(description="Local day of the time it has, however unsure.")]
    bite: Bite


class LoggedCatch(_OfTrip):
    """A catch of a trip; length and weight as they are stored."""

    ref: str
    date_local: Annotated[DateText, Field(description="Local day of the time it has, however unsure.")]
    catch: Catch


class LoggedDeploymentList(_OfTrip):
    """The deployments of a trip."""

    items: list[LoggedDeployment]


class LoggedBiteList(_OfTrip):
    """The bites of a trip."""

    items: list[LoggedBite]


class LoggedCatchList(_OfTrip):
    """The catches of a trip."""

    items: list[LoggedCatch]


def patched_part(part: Part[P], current: P, patch: dict[str, Any]) -> P:
    """Return what a thing of a trip is once patched; InvalidInput if that is none."""
    return part.model.parse(merge_patch(current.to_document(), patch))


def write_part(part: Part[P], shown: PartShown[P]) -> dict[str, Any]:
    """Return a thing of a trip as the schema of its kind has it."""
    one = shown.part
    date = local_date(to_numpy(part.begins(one)), shown.trip.mark.document.zone)
    told = {**_of_trip(shown.trip), "ref": one.ref, "date_local": date, part.noun: one.to_document()}
    return {**write_deployment(one), **told} if isinstance(one, Deployment) else told


def write_parts(part: Part[P], trip: TripShown) -> dict[str, Any]:
    """Return all things of one kind of a trip."""
    items = [write_part(part, PartShown(trip, one)) for one in part.all(trip.view.document)]
    return {**_of_trip(trip), "items": items}


def _of_trip(trip: TripShown) -> dict[str, Any]:
    record = trip.view.record
    return {"trip_id": record.id, "trip_version": record.version, "time_zone": trip.mark.document.time_zone}
