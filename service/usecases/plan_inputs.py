"""What a plan rests on: the question that its marks share, and the inputs of each mark under one hash.

The same hash is the same result, whatever plan it is in: everything that decides a byte of it is in it, and ids and
versions stand for documents, which never change once they are written.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import orjson

from service.errors import NoModel
from service.jobs.plan_work import ChunkMark, PlanChunk, PlanQuestion
from service.storage.plain import encode_error
from service.storage.plan_records import PlanRecord
from service.storage.records import DocumentRecord
from service.storage.unit import UnitOfWork
from service.usecases.conditions import NOTHING_TOLD, MarkPlace, Told, find_told
from service.usecases.safety_thresholds import thresholds_of
from tidecore import NUMERICS, __version__
from tidecore.conditions import OfficialWarning
from tidecore.timebase import TimeSpan

#: Raised whenever the same inputs come out as other bytes of a result.
PLAN_FORMAT = 4
#: Marks read at a time, and marks of a chunk.
MARKS_READ, MARKS_OF_A_CHUNK = 500, 20
#: Rules of an account that are read at most.
_MOST_RULES = 10_000


@dataclass(frozen=True, slots=True)
class Scope:
    """What the marks of a plan have in common: the question, and the versions of rules and thresholds."""

    question: PlanQuestion
    span: TimeSpan
    rules: Sequence[Mapping[str, Any]]
    thresholds_version: int
    base: str


@dataclass(frozen=True, slots=True)
class MarkInputs:
    """The inputs of a mark: their hash, and the mark as a chunk takes it; or why nothing can come of it."""

    mark_id: str
    input_hash: str
    mark: ChunkMark | None
    problem: Mapping[str, Any] | None


def read_scope(unit: UnitOfWork, plan: PlanRecord) -> Scope:
    """Return what the marks of a plan have in common, as it stands now."""
    asked = plan.asked
    named = asked["rule_ids"]
    records = unit.species_rules.page(None, _MOST_RULES) if named is None else unit.species_rules.many(named).values()
    ordered = sorted(records, key=lambda one: one.id)
    documents = unit.species_rules.documents([(one.id, one.version) for one in ordered])
    thresholds = thresholds_of(unit)
    span = TimeSpan(_numpy(plan.starts_at), _numpy(plan.ends_at))
    question = PlanQuestion(
        start_us=span.start_us,
        end_us=span.end_us,
        rules=[(one.id, documents[one.id, one.version]) for one in ordered],
        thresholds=thresholds.thresholds.to_document(),
        options=asked["options"],
        free_time=asked["free_time"],
        travel_min=asked["travel_min"],
        facts=asked["facts"],
        include_dangerous=asked["include_dangerous"],
        most=asked["most_per_mark"],
        diverse=asked["diverse"],
    )
    told = [
        {
            "id": one.id,
            "version": one.version,
            "name": documents[one.id, one.version]["name"],
            "species": documents[one.id, one.version]["species"]["scientific_name"],
        }
        for one in ordered
    ]
    shared = {
        "format": PLAN_FORMAT,
        "numerics": NUMERICS,
        "code": __version__,
        "span": [span.start_us, span.end_us],
        "rules": [[one.id, one.version] for one in ordered],
        "thresholds": question.thresholds,
        "asked": {name: value for name, value in asked.items() if name not in ("mark_ids", "rule_ids")},
    }
    return Scope(question, span, told, thresholds.version, _digest(shared))


def count_marks(unit: UnitOfWork, plan: PlanRecord) -> int:
    """Return how many marks a plan has, as it stands now."""
    named = plan.asked["mark_ids"]
    return unit.marks.count() if named is None else len(unit.marks.many(named))


def page_of_marks(unit: UnitOfWork, plan: PlanRecord, after: str | None) -> list[DocumentRecord]:
    """Return the next marks of a plan in the order of their ids; what has been deleted since is left out."""
    named = plan.asked["mark_ids"]
    if named is None:
        return unit.marks.page(after, MARKS_READ)
    some = sorted(key for key in named if after is None or key > after)[:MARKS_READ]
    return sorted(unit.marks.many(some).values(), key=lambda one: one.id)


def read_inputs(unit: UnitOfWork, scope: Scope, records: Sequence[DocumentRecord]) -> list[MarkInputs]:
    """Return the inputs of marks."""
    stored = unit.marks.documents([(one.id, one.version) for one in records])
    documents = {key: document for (key, _), document in stored.items()}
    stations = unit.stations.many(list({document["station"] for document in documents.values()}))
    places = {
        key: MarkPlace(document.get("conditions_area"), document["latitude"], document["longitude"])
        for key, document in documents.items()
    }
    told = find_told(
        unit,
        places,
        scope.span,
        lambda warnings: {
            key: OfficialWarning.parse(document)
            for key, document in unit.warnings.documents([one.id for one in warnings]).items()
        },
    )
    found = []
    for record in records:
        station = stations[documents[record.id]["station"]]
        rests_on, sea = _rests_on(scope, record, station.station_id, station.version, told[record.id])
        hashed = _digest([scope.base, record.id, rests_on])
        if station.version == 0:
            problem = encode_error(NoModel(station.station_id))
            found.append(MarkInputs(record.id, hashed, None, problem))
            continue
        tide = f"{station.station_id} {station.version}"
        mark = ChunkMark(record.id, documents[record.id], tide, sea, rests_on)
        found.append(MarkInputs(record.id, hashed, mark, None))
    return found


def _rests_on(
    scope: Scope, record: DocumentRecord, station_id: str, station_version: int, told: Told
) -> tuple[dict[str, Any], str | None]:
    """Return what the result of a mark rests on, and what its sea is called; None where nothing is told of it."""
    issues, warnings = ([one.id for one in some] for some in told)
    rests_on = {
        "mark_version": record.version,
        "station_id": station_id,
        "station_version": station_version,
        "thresholds_version": scope.thresholds_version,
        "rules": [{"id": one["id"], "version": one["version"]} for one in scope.rules],
        "condition_ids": issues,
        "warning_ids": warnings,
        "numerics": NUMERICS,
    }
    return rests_on, None if not (issues or warnings) else _digest([issues, warnings])


def read_chunks(unit: UnitOfWork, scope: Scope, wanted: Sequence[MarkInputs]) -> Iterator[PlanChunk]:
    """Yield marks in chunks, those that share a tide and a sea together, with the documents of both."""
    marks = [one.mark for one in wanted if one.mark is not None]
    ordered = sorted(marks, key=lambda one: (one.tide, one.sea or "", one.mark_id))
    for first in range(0, len(ordered), MARKS_OF_A_CHUNK):
        some = ordered[first : first + MARKS_OF_A_CHUNK]
        tides, seas = {}, {}
        for one in some:
            if one.tide not in tides:
                station_id, _, version = one.tide.partition(" ")
                tides[one.tide] = unit.stations.document(station_id, int(version)) or {}
            if one.sea is not None and one.sea not in seas:
                ids = one.rests_on["condition_ids"], one.rests_on["warning_ids"]
                issues, warnings = unit.conditions.documents(ids[0]), unit.warnings.documents(ids[1])
                seas[one.sea] = [issues[key] for key in ids[0]], [warnings[key] for key in ids[1]]
        yield PlanChunk(scope.question, some, tides, seas, NOTHING_TOLD)


def _digest(value: Any) -> str:
    return hashlib.sha256(orjson.dumps(value, option=orjson.OPT_SORT_KEYS)).hexdigest()


def _numpy(moment: datetime) -> np.datetime64:
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")
