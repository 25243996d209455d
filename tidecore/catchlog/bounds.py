"""Bounds of the times of a trip that is written.

They are no part of `TripRecord`: trips that were stored before there were such bounds stay readable.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from tidecore.catchlog.moments import outside, written
from tidecore.catchlog.record import TripRecord
from tidecore.catchlog.trip import LONGEST_TRIP, LONGEST_TRIP_H, Catch
from tidecore.documents import Flaw

#: First instant that is logged, as days of diary rows are; where sun and moon were is known from shortly before.
FIRST_LOGGED = datetime(1900, 1, 1, tzinfo=UTC)

Path = tuple[str | int, ...]


def times_of(record: TripRecord) -> Iterator[tuple[Path, datetime]]:
    """Give every time of a trip by its path; those of casts and changes lie within their deployment."""
    yield ("trip", "start"), record.trip.start
    if record.trip.end is not None:
        yield ("trip", "end"), record.trip.end
    for place, time in enumerate(record.trip.slack_seen):
        yield ("trip", "slack_seen", place), time
    for place, rod in enumerate(record.deployments):
        yield ("deployments", place, "start"), rod.start
        yield ("deployments", place, "end"), rod.end
    for kind in ("bites", "catches", "corrections"):
        for place, one in enumerate(getattr(record, kind)):
            yield (kind, place, "at"), one.at


def surely_within(record: TripRecord, latest: datetime, more: Sequence[Catch] = ()) -> bool:
    """Return whether a trip, with catches after its own, has no time out of bounds and none after ``latest``.

    It is asked of every trip of an import, so it looks for no paths and knows no slack: where it says no,
    `out_of_bounds` and `times_of` tell whether it is so.
    """
    trip = record.trip
    # Starts lie before ends.
    first, last = trip.start, trip.end or trip.start
    for rod in record.deployments:
        first, last = min(first, rod.start), max(last, rod.end)
        if rod.end - rod.start > LONGEST_TRIP:
            return False
    for events in (record.bites, record.catches, more):
        if events:
            times = [one.at for one in events]
            first, last = min(first, *times), max(last, *times)
    if trip.end is None and last - trip.start > LONGEST_TRIP:
        return False
    if record.corrections or trip.slack_seen:
        aside = [*trip.slack_seen, *(one.at for one in record.corrections)]
        first, last = min(first, *aside), max(last, *aside)
    return FIRST_LOGGED <= first and last <= latest


def out_of_bounds(record: TripRecord) -> Iterator[Flaw]:
    """Give a flaw for each time that no trip may have: too early, or further from the start than a trip is long.

    A trip with an end holds its rods and fish within itself; one without goes on for the longest that there is. As
    with an end, times may be out of it by as much as they are unsure.
    """
    for path, time in times_of(record):
        if time < FIRST_LOGGED:
            yield Flaw(path, f"is {written(time)}, before {FIRST_LOGGED.year}", f"a time from {FIRST_LOGGED.year} on")
    for place, rod in enumerate(record.deployments):
        if rod.end - rod.start > LONGEST_TRIP:
            expected = f"an end at most {LONGEST_TRIP_H:g} h after the start of the deployment"
            yield Flaw(("deployments", place, "end"), f"is {written(rod.end)}", expected)
    if record.trip.end is None:
        yield from _too_late(record)


def _too_late(record: TripRecord) -> Iterator[Flaw]:
    trip = record.trip
    last = trip.start + LONGEST_TRIP
    expected = f"{written(last)} at the latest: the longest trip is {LONGEST_TRIP_H:g} h"

    def flaw(path: Path, time: datetime) -> Flaw:
        return Flaw(path, f"is {written(time)}, too long after the start of the trip", expected)

    for place, rod in enumerate(record.deployments):
        for name, time in (("start", rod.start), ("end", rod.end)):
            told = name == "end" and rod.end - rod.start > LONGEST_TRIP
            if not told and outside(time, trip.time_precision_min, trip.start, last):
                yield flaw(("deployments", place, name), time)
    for kind in ("bites", "catches"):
        for place, one in enumerate(getattr(record, kind)):
            if outside(one.at, one.precision_min + trip.time_precision_min, trip.start, last):
                yield flaw((kind, place, "at"), one.at)
