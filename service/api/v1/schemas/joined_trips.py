"""Trips joined to the tide, in answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import DateText, InstantText, Schema
from service.api.v1.schemas.factors import Factor, write_factor
from service.api.v1.schemas.timeline import DECIMALS
from service.usecases.joins import JoinView
from service.usecases.records import JoinRecord
from tidecore import NUMERICS
from tidecore.catchlog import DEFAULT_BINS, VALUES_ALONE, AtEvent, OverDeployment
from tidecore.timebase import US_PER_HOUR
from tidecore.timeline import factors

Known = float | str | bool | None


class FactorAtEvent(Schema):
    """One factor at a bite or catch, and over all the time at which it may have been."""

    value: Annotated[Known, Field(description="At its own time; null where unknown.")]
    low: Annotated[float | None, Field(description="Least within its precision, of a number; by the minute.")]
    high: Annotated[
        float | None,
        Field(description="Most within its precision. Where the factor jumps meanwhile, both sides are within."),
    ]
    shares: Annotated[
        dict[str, float], Field(description="Part of that time in each bin, largest first; none without bins.")
    ]


class FactorInUse(Schema):
    """One factor while a rod was in use."""

    least: float | None
    mean: Annotated[float | None, Field(description="Null where unknown, and of what jumps or comes round.")]
    most: float | None
    raw_rod_h: Annotated[dict[str, float], Field(description="Hours of the rod in use in each bin.")]
    bait_on_h: Annotated[dict[str, float], Field(description="Hours of its bait in the water in each bin.")]


class JoinedDeployment(Schema):
    """A deployment by its ref, factor by factor."""

    ref: str
    factors: dict[str, FactorInUse]


class JoinedEvent(Schema):
    """A bite or a catch by its ref, factor by factor."""

    ref: str
    at: InstantText
    precision_min: int
    factors: dict[str, FactorAtEvent]


class JoinRestsOn(Schema):
    """The versions that a join rests on."""

    trip_version: int
    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    condition_issues: Annotated[int, Field(description="Issues of conditions that tell of its time.")]
    numerics: int


class KeptJoin(Schema):
    """The join that is kept, on which rates rest."""

    trip_version: int
    mark_version: int
    station_version: int
    joined_at: InstantText
    newest: Annotated[bool, Field(description="Whether it rests on all that this answer rests on.")]


class JoinedTripSchema(Schema):
    """A trip with every factor at each of its deployments, bites and catches."""

    trip_id: str
    time_zone: str
    date_local: DateText
    rests_on: JoinRestsOn
    newest: Annotated[bool, Field(description="Always: what is kept and no longer newest is made anew here.")]
    kept: Annotated[KeptJoin | None, Field(description="Null before the trip is joined in the background.")]
    factors: list[Factor]
    deployments: list[JoinedDeployment]
    bites: list[JoinedEvent]
    catches: list[JoinedEvent]


def write_joined(view: JoinView) -> dict[str, Any]:
    """Return a trip as `JoinedTripSchema` has it."""
    record, mark, registry = view.trip.document, view.basis.mark, factors()
    named = [registry[name] for name in (*DEFAULT_BINS, *VALUES_ALONE)]
    return {
        "trip_id": view.trip.record.id,
        "time_zone": mark.document.time_zone,
        "date_local": record.trip.start.astimezone(mark.document.zone).date().isoformat(),
        "rests_on": {
            "trip_version": view.trip.record.version,
            "mark_id": mark.record.id,
            "mark_version": mark.record.version,
            "station_id": mark.document.station,
            "station_version": view.basis.station_version,
            "condition_issues": view.conditions,
            "numerics": NUMERICS,
        },
        "newest": True,
        "kept": None if view.kept is None else _kept(view.kept, view.kept_is_newest),
        "factors": [write_factor(one) for one in named],
        "deployments": [
            {"ref": one.ref, "factors": _in_use(view.joined.deployments[one.ref])} for one in record.deployments
        ],
        "bites": [
            {
                "ref": one.ref,
                "at": write_instant(one.at, None),
                "precision_min": one.precision_min,
                "factors": _at_event(view.joined.bites[one.ref]),
            }
            for one in record.bites
        ],
        "catches": [
            {
                "ref": one.ref,
                "at": write_instant(one.at, None),
                "precision_min": one.precision_min,
                "factors": _at_event(view.joined.catches[one.ref]),
            }
            for one in record.catches
        ],
    }


def _kept(record: JoinRecord, newest: bool) -> dict[str, Any]:
    return {
        "trip_version": record.trip_version,
        "mark_version": record.mark_version,
        "station_version": record.station_version,
        "joined_at": write_instant(record.joined_at, None),
        "newest": newest,
    }


def _at_event(found: Mapping[str, AtEvent]) -> dict[str, Any]:
    told = {}
    for name, one in found.items():
        decimals = _decimals(name)
        told[name] = {
            "value": number(one.value, decimals) if isinstance(one.value, float) else one.value,
            "low": number(one.low, decimals),
            "high": number(one.high, decimals),
            "shares": {label: number(share, 4) for label, share in one.shares.items()},
        }
    return told


def _in_use(found: Mapping[str, OverDeployment]) -> dict[str, Any]:
    told = {}
    for name, one in found.items():
        decimals = _decimals(name)
        told[name] = {
            "least": number(one.least, decimals),
            "mean": number(one.mean, decimals),
            "most": number(one.most, decimals),
            "raw_rod_h": {label: number(us / US_PER_HOUR, 5) for label, us in one.raw_us.items()},
            "bait_on_h": {label: number(us / US_PER_HOUR, 5) for label, us in one.bait_on_us.items()},
        }
    return told


def _decimals(name: str) -> int:
    return DECIMALS.get(factors()[name].unit, 3)
