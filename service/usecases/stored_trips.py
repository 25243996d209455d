"""Lists of trips: each as it is stored, word for word, with what follows from it.

What is stored was checked when it was written. A list hands it out as it is: to check a hundred trips again, and write
them again, costs ten times as much as all the rest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import orjson

from service.security import Caller
from service.storage.records import DocumentRecord
from service.usecases.context import Context
from service.usecases.logged import LogPage, LogQuestion
from service.usecases.marks import MARKS, MarkView
from service.usecases.trips import TRIP_LOG, TRIPS
from tidecore.catchlog import (
    Effort,
    ReachRemark,
    effort_is_on_record,
    effort_of_times,
    reach_remark,
    ticks,
)
from tidecore.catchlog.trip import Outcome


@dataclass(frozen=True, slots=True)
class StoredDeployment:
    """What follows from a deployment."""

    ref: str
    effort: Effort
    reach: ReachRemark | None


@dataclass(frozen=True, slots=True)
class StoredTrip:
    """A trip: its record, the JSON that is stored, its mark, and what follows from it."""

    record: DocumentRecord
    text: str
    mark: MarkView
    start: datetime
    end: datetime | None
    outcome: Outcome
    deployments: Sequence[StoredDeployment]

    @property
    def effort(self) -> Effort | None:
        """The effort of all deployments; None where it is not known."""
        if not effort_is_on_record(self.outcome, len(self.deployments)):
            return None
        return sum((one.effort for one in self.deployments), start=Effort())


def list_stored_trips(context: Context, caller: Caller, asked: LogQuestion, limit: int) -> LogPage[StoredTrip]:
    """Return a page of trips in order of time; NotFound if there is no such mark."""
    with context.store.unit(caller.account_id) as unit:
        if asked.mark_id is not None:
            MARKS.find(context, unit, [asked.mark_id])
        records, after = TRIPS.records_ordered(unit, TRIP_LOG.ordered(asked), limit)
        texts = unit.trips.texts(records)
        documents = {key: orjson.loads(text) for key, text in texts.items()}
        ids = sorted({document["trip"]["mark"] for document in documents.values()})
        marks = {view.record.id: view for view in MARKS.find(context, unit, ids)}
    items = [_stored(one, texts[one.id], documents[one.id], marks) for one in records]
    return LogPage(items, after)


def _stored(
    record: DocumentRecord, text: str, document: Mapping[str, Any], marks: Mapping[str, MarkView]
) -> StoredTrip:
    trip = document["trip"]
    end = None if trip["end"] is None else datetime.fromisoformat(trip["end"])
    deployments = [_deployment(one) for one in document["deployments"]]
    start = datetime.fromisoformat(trip["start"])
    return StoredTrip(record, text, marks[trip["mark"]], start, end, trip["outcome"], deployments)


def _deployment(document: Mapping[str, Any]) -> StoredDeployment:
    casts = [(_us(cast["out"]), _us(cast["in"])) for cast in document["casts"]]
    reach = document["reach"]
    return StoredDeployment(
        document["ref"],
        effort_of_times(_us(document["start"]), _us(document["end"]), casts),
        None if reach is None else reach_remark(reach["metres"], reach["known"]),
    )


def _us(text: str) -> int:
    return ticks(datetime.fromisoformat(text))
