"""Catch rates of the log, in answers."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.v1.schemas.common import Schema
from service.api.v1.schemas.log_sums import RateSchema, write_rate
from service.usecases.rates import BY_MARK, RatesView, edges_of
from tidecore.catchlog import DEFAULT_BINS
from tidecore.catchlog.bins import UNKNOWN
from tidecore.timeline import factors

#: Said with every rate by a factor of the tide or of the sky.
HABIT = (
    "At one place high water of springs falls at about the same hour of the day: size of tide, state of tide and light "
    "cannot be told apart from a record of habit, whatever these rates say of one of them. An outing that breaks the "
    "habit, at the same state of the tide in other light or on the other kind of tide, would tell most."
)
CONFOUNDED = ("tide", "sky")


class RateBin(Schema):
    """The rate in one bin."""

    name: str
    from_: Annotated[float | None, Field(alias="from", description="Its edges, of a number; null where open.")]
    to: float | None
    rate: RateSchema
    coarse: Annotated[
        RateSchema | None,
        Field(description="That of coarse diary rows, by hours times rods; null unless by month or mark."),
    ]


class JoinedTo(Schema):
    """Versions that a number of joins rest on."""

    mark_id: str
    mark_version: int
    station_id: str
    station_version: int
    numerics: int
    newest: bool
    trips: int


class TripsBehind(Schema):
    """Which trips the rates rest on."""

    fished: Annotated[int, Field(description="Trips asked for that were fished.")]
    not_fished: int
    counted: Annotated[int, Field(description="Of those fished, trips that are counted here.")]
    not_joined: Annotated[int, Field(description="Those not joined to the tide yet, or at a mark without one.")]
    older: Annotated[
        int,
        Field(description="Joins that rest on older versions, of any time: at the mark asked for, or all."),
    ]


class Rates(Schema):
    """Catch per hour of effort by one factor, or by mark."""

    by: str
    unit: str
    species: str | None
    effort: Literal["bait_on", "raw"]
    level: Annotated[float, Field(description="Confidence of all limits.")]
    edges: list[float]
    reason: Annotated[str | None, Field(description="Why these bins, where they are the default ones.")]
    bins: list[RateBin]
    together: RateSchema
    trips: TripsBehind
    joined_to: list[JoinedTo]
    remarks: list[str]


def write_rates(view: RatesView) -> dict[str, Any]:
    """Return rates as `Rates` has them."""
    ask, by_mark = view.ask, view.ask.by == BY_MARK
    edges = () if by_mark else edges_of(ask)
    default = DEFAULT_BINS.get(ask.by)
    ends: Iterable[tuple[float | None, float | None]] = pairwise([None, *edges, None]) if edges else ()
    known = dict(zip(view.names, ends, strict=False))
    behind = {
        "fished": view.fished,
        "not_fished": view.not_fished,
        "counted": view.joined,
        "not_joined": max(0, view.fished - view.joined),
        "older": sum(one.trips for one in view.rests_on if not one.newest),
    }
    return {
        "by": ask.by,
        "unit": "" if by_mark else factors()[ask.by].unit,
        "species": ask.species,
        "effort": ask.effort,
        "level": ask.level,
        "edges": list(edges),
        "reason": default.reason if default is not None and default.edges == edges else None,
        "bins": [
            {
                "name": one.name,
                "from": known.get(one.name, (None, None))[0],
                "to": known.get(one.name, (None, None))[1],
                "rate": write_rate(one.rate),
                "coarse": None if one.coarse is None else write_rate(one.coarse),
            }
            for one in view.bins
            if one.name != UNKNOWN or one.rate.trips or one.rate.effort_unknown
        ],
        "together": write_rate(view.together),
        "trips": behind,
        "joined_to": [
            {
                "mark_id": one.mark_id,
                "mark_version": one.mark_version,
                "station_id": one.station_id,
                "station_version": one.station_version,
                "numerics": int(one.stamp.partition(".")[0]),
                "newest": one.newest,
                "trips": one.trips,
            }
            for one in view.rests_on
        ],
        "remarks": _remarks(view, behind),
    }


def _remarks(view: RatesView, behind: dict[str, int]) -> list[str]:
    by = view.ask.by
    said = [HABIT] if by != BY_MARK and factors()[by].group in CONFOUNDED else []
    if not view.named:
        said.append(f"Nothing in the log is called {view.ask.species!r}: that none was caught says nothing.")
    if behind["not_joined"]:
        said.append(f"{behind['not_joined']} trips that were fished are not joined to the tide, and not counted.")
    if behind["older"]:
        said.append(f"{behind['older']} trips rest on older versions of mark, tide or sea, and are joined anew.")
    if any(one.coarse is not None and one.coarse.count for one in view.bins):
        said.append("Coarse rows stand apart: their effort is hours times rods, whatever the baits did.")
    thin = [one.name for one in view.bins if one.rate.evidence == "thin"]
    if thin:
        said.append(f"Thin evidence: {', '.join(thin)}.")
    return said
