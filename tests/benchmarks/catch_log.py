"""The log of ten years over HTTP, 10,000 trips and 100,000 catches, beside a route that returns stored bytes.

Every trip is logged by itself. Those of one mark are joined to the tide as the job does it, and that is timed; the
other marks have trips at the same hours, and are given the same joins: their counts differ in nothing that is asked.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

import numpy as np

from service.bootstrap import House
from service.security import LOCAL_ACCOUNT, Caller
from service.settings import Settings
from service.storage.engine import open_engine
from service.storage.repositories.log_months import FACT_PART, JOIN_PART, NO_MONTH, TRIP_PART
from service.storage.unit import Store
from service.usecases.documents import Draft
from service.usecases.joining import apart
from service.usecases.joins import find_basis, keep_joins
from service.usecases.marks import MARKS
from service.usecases.station_documents import StationDocument
from service.usecases.stations import create_station
from service.usecases.trips import TRIPS, trip_links
from tests.benchmarks.measure import Report, seconds
from tests.benchmarks.search import MARK, STATION, Client, served
from tidecore.catchlog import TripRecord
from tidecore.place import Mark

_MARKS, _TRIPS, _CATCHES = 25, 400, 10
_REPETITIONS = 21
#: How many medians of the floor a common query may take.
_MOST = 20.0
#: Queries that are asked after writes, again, and of a process that has read nothing.
_REMEMBERED = ("totals", "season", "rates by light", "rates by mark")
_CALLER = Caller(LOCAL_ACCOUNT, frozenset({"read", "write", "admin"}))
_SPECIES = [{"scientific_name": f"Piscis numero {place}", "fao_code": f"ZZ{chr(65 + place)}"} for place in range(10)]


def run(report: Report) -> None:
    """Print what common queries of a long log take, in floors, and how fast trips are joined."""
    report.heading(f"The log of ten years: {_MARKS * _TRIPS} trips, {_MARKS * _TRIPS * _CATCHES} catches")
    with tempfile.TemporaryDirectory() as folder:
        rate, mark, trip = _fill(Path(folder))
        report.add("log: trips joined a second", rate, "1/s")
        queries = dict(_queries(mark, trip))
        with served(folder) as client:
            for name, path in queries.items():
                _ask(report, client, name, path)
            for name in _REMEMBERED:
                _ask_again(report, client, Path(folder), name, queries[name])
        for name in _REMEMBERED:
            with served(folder) as client:
                floor = _floor(client, len(client.call("GET", "/v1/trips?limit=1")))
                took = seconds(partial(client.call, "GET", queries[name](0)))
                report.add(f"log: {name}, the first that a process reads, in floors", took / floor, "x")


def _floor(client: Client, size: int) -> float:
    """Return what stored bytes of a size take [s]."""
    client.call("GET", f"/v1/floor/{size}")
    return median(seconds(lambda: client.call("GET", "/v1/floor")) for _ in range(_REPETITIONS))


def _ask_again(report: Report, client: Client, folder: Path, name: str, path: Callable[[int], str]) -> None:
    """Print what a query takes after each write of a trip and of its join, and what the same one asked again takes."""
    _floor(client, len(client.call("GET", path(0))))
    store = Store(open_engine(Settings(auth="open", store=str(folder)).database_url))
    written, floors = [], []
    try:
        for repetition in range(_REPETITIONS):
            with store.unit(LOCAL_ACCOUNT, writes=True) as unit:
                # What a write of a trip says to those who have read its month.
                for part in (TRIP_PART, FACT_PART):
                    unit.log_months.count_up(part, [100 * (2016 + repetition % 10) + 1 + repetition % 12])
                unit.log_months.count_up(JOIN_PART, [NO_MONTH])
                unit.commit()
            written.append(seconds(partial(client.call, "GET", path(repetition))))
            floors.append(seconds(lambda: client.call("GET", "/v1/floor")))
    finally:
        store.close()
    again = median(seconds(partial(client.call, "GET", path(0))) for _ in range(_REPETITIONS))
    floor = median(floors)
    ratio = median(written) / floor
    report.add(f"log: {name}, after a write of a trip, in floors", ratio, "x", f"<= {_MOST:g}", ratio <= _MOST)
    report.add(f"log: {name}, the same again, in floors", again / floor, "x")


def _queries(mark: str, trip: str) -> list[tuple[str, Callable[[int], str]]]:
    """Return common queries by name: paths that differ from one repetition to the next."""

    def day(repetition: int) -> str:
        return str(np.datetime64("2016-01-01") - np.timedelta64(1 + repetition, "D"))

    found: dict[str, Callable[[int], str]] = {
        "list of 100 trips": lambda n: f"/v1/trips?limit={100 - n % 5}",
        "totals": lambda n: f"/v1/insights/totals?from_day={day(n)}",
        "totals of a mark": lambda n: f"/v1/insights/totals?mark_id={mark}&from_day={day(n)}",
        "season": lambda n: (
            f"/v1/insights/seasons/{2016 + n % 10}" + (f"?species=ZZ{chr(65 + n % 7)}" if n > 9 else "")
        ),
        "one trip joined": lambda _: f"/v1/trips/{trip}/joined",
    }
    for by in ("hours_from_hw", "flow_strength", "light", "month", "mark"):
        found[f"rates by {by}"] = lambda n, by=by: f"/v1/insights/rates?by={by}&from_day={day(n)}"  # type: ignore[misc]
    found["rates of one species"] = lambda n: f"/v1/insights/rates?by=light&species=ZZA&from_day={day(n)}"
    return list(found.items())


def _ask(report: Report, client: Client, name: str, path: Callable[[int], str]) -> None:
    size = len(client.call("GET", path(0)))
    client.call("GET", f"/v1/floor/{size}")
    mine, floors = [], []
    for repetition in range(_REPETITIONS):
        mine.append(seconds(partial(client.call, "GET", path(repetition))))
        floors.append(seconds(lambda: client.call("GET", "/v1/floor")))
    ratio = median(mine) / median(floors)
    report.add(f"log: {name}, in floors", ratio, "x", f"<= {_MOST:g}", ratio <= _MOST)
    report.add(f"log: {name}", median(mine) * 1e3, "ms")


def _fill(folder: Path) -> tuple[float, str, str]:
    """Fill a store; return how many trips were joined a second, the id of a mark, and that of a trip."""
    house = House(Settings(auth="open", store=str(folder), log_level="error"))
    house.open(with_runner=False)
    try:
        station = create_station(house.context, _CALLER, StationDocument.parse(STATION).to_station(None))
        drafts = [Mark.parse({**MARK, "station": station.station.station_id}) for _ in range(_MARKS)]
        marks = [MARKS.create(house.context, _CALLER, Draft(one, None)).record.id for one in drafts]
        records = [_record(number) for number in range(_TRIPS)]
        trips = {mark: _log(house, mark, records) for mark in marks}
        return _join(house, marks, trips), marks[0], trips[marks[0]][7]
    finally:
        house.close()


def _record(number: int) -> TripRecord:
    """Return a trip of two rods over four hours at no mark yet: 40 a year, at any hour of the day."""
    rng = np.random.default_rng(number)
    start = datetime(2016, 1, 2, tzinfo=UTC) + timedelta(days=9.1 * number, minutes=float(rng.integers(0, 1440)))

    def at(minutes: float) -> str:
        return (start + timedelta(minutes=minutes)).isoformat()

    casts = [{"out": at(7 + 20 * k), "in": at(25 + 20 * k)} for k in range(11)]
    times = np.sort(rng.uniform(10.0, 229.0, _CATCHES)).round(1).tolist()
    return TripRecord.parse(
        {
            "trip": {"mark": "m", "start": at(0), "end": at(240), "outcome": "fished"},
            "deployments": [{"rod": rod, "start": at(5), "end": at(235), "casts": casts} for rod in ("near", "far")],
            "catches": [
                {
                    "at": at(minutes),
                    "species": _SPECIES[int(rng.integers(0, 10))],
                    "fate": "returned",
                    "length": {"cm": float(rng.integers(20, 60)), "kind": "total"},
                }
                for minutes in times
            ],
        }
    )


def _log(house: House, mark: str, records: list[TripRecord]) -> list[str]:
    at_mark = [one.model_copy(update={"trip": one.trip.model_copy(update={"mark": mark})}) for one in records]
    links = [trip_links(one, ZoneInfo("Etc/UTC")) for one in at_mark]
    rows = [(None, one.model_dump_json(by_alias=True), *its.values()) for one, its in zip(at_mark, links, strict=True)]
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        made = unit.trips.add_many(list(links[0]), rows, datetime.now(UTC))
        unit.commit()
    return made


def _join(house: House, marks: list[str], trips: dict[str, list[str]]) -> float:
    """Join the trips of the first mark, and give those of the others the same joins; return trips a second."""
    now, first = datetime.now(UTC), marks[0]
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        views = TRIPS.find(house.context, unit, trips[first])
        bases = [find_basis(house.context, unit, first, some) for some in apart(views)]
    began, joins, facts = time.perf_counter(), [], []
    for basis in bases:
        some, counts = keep_joins(basis, now)
        joins += some
        facts += counts
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        for start in range(0, len(joins), 100):
            part = {one.trip_id for one in joins[start : start + 100]}
            unit.joins.put(joins[start : start + 100], [one for one in facts if one.trip_id in part])
        unit.commit()
    took = time.perf_counter() - began
    for mark in marks[1:]:
        other = dict(zip(trips[first], trips[mark], strict=True))
        moved = [replace(one, trip_id=other[one.trip_id], mark_id=mark) for one in joins]
        counted = [replace(one, trip_id=other[one.trip_id], mark_id=mark) for one in facts]
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            unit.joins.put(moved, counted)
            unit.commit()
    return len(joins) / took
