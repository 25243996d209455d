"""Trips joined to the tide of their marks: what a join rests on, and the work of making one."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from service.errors import ServiceError
from service.security import Caller
from service.storage.facts import decode_join, encode_counts, encode_join
from service.storage.plain import encode_error
from service.storage.records import JobRecord
from service.storage.repositories.joins import FactRecord, JoinRecord
from service.storage.unit import UnitOfWork
from service.usecases.conditions import AHEAD, BEHIND, MarkConditions, find_conditions
from service.usecases.context import Context
from service.usecases.marks import MARKS, MarkView
from service.usecases.once import Keep, keep_nothing
from service.usecases.stale_joins import STAMP, queue_join
from service.usecases.stations import ServedModel, serve_models
from service.usecases.trips import TRIPS, TripView
from tidecore.catchlog import DEFAULT_BINS, JoinedTrip, bin_names, join_trips, trip_ends_us
from tidecore.errors import CoreError
from tidecore.timebase import US_PER_HOUR, TimeSpan, from_microseconds
from tidecore.timeline import build_timeline

#: The timeline reaches so far beyond what the trips tell of.
_REACH_US = 2 * US_PER_HOUR
#: Nothing is kept of a trip that could not be joined.
_NOTHING = JoinedTrip({}, {}, {}, {})


@dataclass(frozen=True, slots=True)
class JoinBasis:
    """Trips at one mark and all that their joins rest on; ``problem`` says why there is no tide there."""

    trips: Sequence[TripView]
    mark: MarkView
    served: ServedModel | None
    station_version: int
    conditions: MarkConditions
    problem: CoreError | ServiceError | None
    span: TimeSpan


@dataclass(frozen=True, slots=True)
class JoinView:
    """A trip joined: as it is kept where that is ``kept_is_newest``, else made now. ``kept`` is what rates rest on."""

    trip: TripView
    basis: JoinBasis
    joined: JoinedTrip
    conditions: int
    kept: JoinRecord | None
    kept_is_newest: bool


def find_basis(context: Context, unit: UnitOfWork, mark_id: str, trips: Sequence[TripView]) -> JoinBasis:
    """Return what the joins of trips at a mark rest on; NotFound if the mark is not there."""
    mark = MARKS.find(context, unit, [mark_id])[0]
    ends = [trip_ends_us(one.document) for one in trips]
    first, last = min(start for start, _ in ends) - _REACH_US, max(end for _, end in ends) + _REACH_US
    start, end = from_microseconds(np.array([first, last]))
    span = TimeSpan(start, end)
    served, problem = None, None
    try:
        served = serve_models(context, unit, [mark.document.station], None)[0]
    except (CoreError, ServiceError) as error:
        problem = error
    station = unit.stations.get(mark.document.station)
    version = 0 if station is None else station.version
    return JoinBasis(trips, mark, served, version, find_conditions(context, unit, [mark], span)[mark_id], problem, span)


def make_joins(basis: JoinBasis, bins: Mapping[str, Sequence[float]] | None = None) -> list[JoinedTrip]:
    """Return trips joined to the tide of their mark, by the default bins unless given; raises why there is none."""
    if basis.served is None:
        assert basis.problem is not None, "a mark without a tide has a reason"
        raise basis.problem
    timeline = build_timeline(
        basis.mark.document,
        basis.served.model,
        basis.span.start,
        basis.span.end,
        names=(),
        conditions=basis.conditions.conditions,
    )
    return join_trips(timeline, [one.document for one in basis.trips], bins)


def keep_joins(basis: JoinBasis, now: datetime) -> tuple[list[JoinRecord], list[FactRecord]]:
    """Return the joins of trips as they are kept, with their counts; those without a tide say why."""
    problem: dict[str, Any] | None = None
    try:
        joined = make_joins(basis)
    except (CoreError, ServiceError) as error:
        joined, problem = [_NOTHING] * len(basis.trips), encode_error(error)
    joins, facts = [], []
    for trip, one in zip(basis.trips, joined, strict=True):
        joins.append(_record(basis, trip, one, now, problem))
        if problem is None:
            facts += _facts(basis, trip, one)
    return joins, facts


def joined_trip(context: Context, caller: Caller, trip_id: str) -> JoinView:
    """Return a trip joined to the tide: the join that is kept where it is the newest, else one made now.

    Raises
    ------
    NotFound, NoModel
        If there is no such trip, or the station of its mark has no tide.
    InvalidInput
        If the mark's offsets make no tide of its station's.
    """
    with context.store.unit(caller.account_id) as unit:
        trip = TRIPS.find(context, unit, [trip_id])[0]
        basis = find_basis(context, unit, trip.document.trip.mark, [trip])
        kept = unit.joins.get(trip_id)
    newest = kept is not None and _is_newest(kept, basis, trip)
    if kept is not None and newest and kept.problem is None:
        return JoinView(trip, basis, decode_join(kept.document), kept.conditions, kept, kept_is_newest=True)
    # Through the same door as what is kept, so that both say the same to the last digit.
    joined = decode_join(encode_join(make_joins(basis)[0]))
    return JoinView(trip, basis, joined, len(_issues(basis, trip)), kept, kept_is_newest=newest)


def ask_for_joins(context: Context, caller: Caller, keep: Keep[JobRecord] = keep_nothing) -> JobRecord:
    """Return the job that joins every trip whose join is missing or out of date; the one that waits or runs already."""
    with context.store.unit(caller.account_id, writes=True) as unit:
        job = queue_join(unit, context.clock())
        keep(unit, job)
        unit.commit()
    context.runner.wake()
    return job


def same_conditions(context: Context, unit: UnitOfWork, basis: JoinBasis) -> bool:
    """Return whether what is told of sea and air is still what a basis found."""
    now = find_conditions(context, unit, [basis.mark], basis.span)[basis.mark.record.id]
    return [one.id for one in now.issues] == [one.id for one in basis.conditions.issues]


def _is_newest(kept: JoinRecord, basis: JoinBasis, trip: TripView) -> bool:
    rests_on = (kept.trip_version, kept.mark_id, kept.mark_version, kept.station_id, kept.station_version, kept.stamp)
    mark = basis.mark
    today = (trip.record.version, mark.record.id, mark.record.version, mark.document.station, basis.station_version)
    return not kept.stale and rests_on == (*today, STAMP)


def _record(
    basis: JoinBasis, trip: TripView, joined: JoinedTrip, now: datetime, problem: dict[str, Any] | None
) -> JoinRecord:
    start, end = _ends(trip)
    issues = _issues(basis, trip)
    return JoinRecord(
        trip_id=trip.record.id,
        trip_version=trip.record.version,
        mark_id=basis.mark.record.id,
        mark_version=basis.mark.record.version,
        station_id=basis.mark.document.station,
        station_version=basis.station_version,
        stamp=STAMP,
        conditions=len(issues),
        conditions_hash=hashlib.sha256("\n".join(issues).encode()).hexdigest(),
        stale=False,
        started_at=start,
        ended_at=end,
        joined_at=now,
        problem=problem,
        document=encode_join(joined),
    )


def _facts(basis: JoinBasis, trip: TripView, joined: JoinedTrip) -> list[FactRecord]:
    """Return the counts of a trip that was fished, a row a factor."""
    record = trip.document
    if record.trip.outcome == "not_fished":
        return []
    day = record.trip.start.astimezone(basis.mark.document.zone).date()
    common = (day, trip.record.id, basis.mark.record.id, record.trip.purpose, bool(record.deployments))
    return [
        FactRecord(name, *common, *encode_counts(joined.counts.get(name, ()), bin_names(name, one.edges)))
        for name, one in DEFAULT_BINS.items()
    ]


def _issues(basis: JoinBasis, trip: TripView) -> list[str]:
    """Return the ids of the issues that tell of the time of a trip, or of what led up to it."""
    start, end = _ends(trip)
    return [one.id for one in basis.conditions.issues if one.starts_at <= end + AHEAD and one.ends_at >= start - BEHIND]


def _ends(trip: TripView) -> tuple[datetime, datetime]:
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    start, end = (epoch + timedelta(microseconds=us) for us in trip_ends_us(trip.document))
    return start, end
