"""A month's plan of many marks: in a pool as a job does it, on a Dask cluster, again with little changed, and read.

Marks, tides and seas are those of the search of many marks, five marks a station; models and forecasts are decoded anew
in every process. The cost of a mark is told of plans of 100 marks, 1,000, and of a sample of 10,000 that are as many
chunks as the 1,000 have, spread over all of them.
"""

from __future__ import annotations

import json
import resource
import tempfile
import time
from collections.abc import Iterator, Sequence
from functools import partial
from statistics import median
from typing import Any

import numpy as np

import tidecore
from service.bootstrap import House
from service.jobs.plan_work import ChunkMark, MarkOutcome, PlanChunk, PlanQuestion, plan_chunk
from service.jobs.runner import ProcessRunner
from service.jobs.spreading import Here, Pool, Spread
from service.security import LOCAL_ACCOUNT, WRITE, Caller
from service.settings import Settings
from service.storage.unit import Store
from service.usecases.context import utc_now
from service.usecases.jobs import get_job
from service.usecases.plans import PlanRequest, request_plan
from tests.benchmarks import choosing
from tests.benchmarks.measure import Report, kernel, seconds
from tests.benchmarks.search import MARK, RULE, STATION, served
from tidecore.safety import DEFAULTS, OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.windows import SessionOptions

_MARKS, _RULES, _DAYS, _A_CHUNK, _A_STATION = 1_000, 6, 31, 20, 5
_PROCESSES = 2
_START = np.datetime64("2026-10-01T00:00", "us")


def _question(repetition: int) -> PlanQuestion:
    start = _START + np.timedelta64(13 * repetition, "m")
    rules = [(f"rul_{k}", rule.to_document()) for k, rule in enumerate(choosing.rules()[:_RULES])]
    first = int(start.astype(np.int64))
    return PlanQuestion(
        start_us=first, end_us=first + _DAYS * 86_400_000_000, rules=rules, thresholds=DEFAULTS.to_document(),
        options={}, free_time=None, travel_min=20.0, facts={}, include_dangerous=False, most=31, diverse=True,
    )  # fmt: skip


def _chunks(question: PlanQuestion, places: Sequence[int]) -> Iterator[PlanChunk]:
    """Yield the marks of some places in chunks, with the tides and seas of their stations."""
    like = [mark.to_document() for mark in choosing.marks()]
    for first in range(0, len(places), _A_CHUNK):
        some = places[first : first + _A_CHUNK]
        stations = sorted({place // _A_STATION for place in some})
        tides = {f"tide {one}": choosing.models(1)[0].to_document() for one in stations}
        seas: dict[str, tuple[list[dict[str, Any]], list[dict[str, Any]]]] = {
            f"sea {one}": ([issue.to_document() for issue in choosing.conditions(one, _START).issues], [])
            for one in stations
        }
        marks = [
            ChunkMark(
                f"mrk_{place}",
                {**like[place % len(like)], "latitude": 40.0 + 0.002 * place},
                f"tide {place // _A_STATION}",
                f"sea {place // _A_STATION}",
                {},
            )
            for place in some
        ]
        yield PlanChunk(question, marks, tides, seas, "nothing told")


def _run(spread: Spread, repetition: int, places: Sequence[int]) -> tuple[float, int]:
    """Return how long the marks of some places take [s], chunks made beforehand, and how many sessions are kept."""
    chunks = list(_chunks(_question(repetition), places))
    began = time.perf_counter()
    found: list[MarkOutcome] = [one for some in spread.run(plan_chunk, iter(chunks)) for one in some]
    spent = time.perf_counter() - began
    assert len(found) == len(places)
    assert all(one.problem is None for one in found), [one for one in found if one.problem][:1]
    return spent, sum(len(one.content or b"") for one in found)


def _computing(report: Report) -> None:
    beside = kernel()
    whole, kept = _run(Pool(_PROCESSES), 0, range(_MARKS))
    report.add(f"plan, {_MARKS} marks x {_RULES} rules x {_DAYS} days, two processes", whole, "s", "<= 20", whole <= 20)
    report.add("plan: in calibration kernels", whole / beside, "x")
    report.add("plan: kept of a mark, compressed", kept / _MARKS / 1024, "KiB")
    used = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) / 1024
    # This process has made all chunks beforehand; a job makes them as they are asked for.
    total = used * (_PROCESSES + 1)
    report.add("plan: memory, three times that of the largest process", total, "MiB", "<= 1024", total <= 1024)


def _cost_of_a_mark(report: Report) -> None:
    """Print what a mark costs in a small plan, a large one and a very large one, in one process and in turn."""
    costs: dict[int, list[float]] = {100: [], 1_000: [], 10_000: []}
    for repetition in range(3):
        for count, found in costs.items():
            step = count // 100
            places = [one * step * _A_CHUNK + k for one in range(100 // _A_CHUNK) for k in range(_A_CHUNK)]
            found.append(_run(Here(), 10 + repetition, places)[0] / len(places))
    few = median(costs[100])
    for count in (1_000, 10_000):
        ratio = median(costs[count]) / few
        report.add(f"plan: a mark among {count}, over one among 100", ratio, "x", "0.85 to 1.15", 0.85 <= ratio <= 1.15)


def _clustered(report: Report) -> None:
    """Print how much faster two workers of a Dask cluster are than one."""
    import distributed

    from service.jobs.cluster import Cluster

    spent = {}
    for workers in (1, 2):
        with distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
        ) as local:
            cluster = Cluster(local.scheduler_address)
            _run(cluster, 20, range(2 * _A_CHUNK))
            spent[workers] = _run(cluster, 21, range(8 * _A_CHUNK))[0]
    report.add("plan: Dask, one worker over two", spent[1] / spent[2], "x")


def _made(house: House, runner: ProcessRunner, request: PlanRequest) -> tuple[float, str]:
    """Return how long a plan takes as a job [s], and its id."""
    caller, began = Caller(LOCAL_ACCOUNT, frozenset({WRITE})), time.perf_counter()
    plan = request_plan(house.context, caller, request)
    runner.wake()
    while (job := get_job(house.context, caller, plan.job_id)).state in ("queued", "running"):
        time.sleep(0.01)
    assert job.state == "done", job.problem
    return time.perf_counter() - began, plan.plan_id


def _fill(store: Store, count: int) -> None:
    """Write stations, rules and marks of the search of many marks."""
    now = utc_now()
    with store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        for rule in choosing.rules()[:_RULES]:
            unit.species_rules.add(rule.to_document(), external_ref=None, now=now, links={})
        stamps = {"datum": "unknown", "input_hash": "0", "numerics": tidecore.NUMERICS, "code_version": "0"}
        like = [mark.to_document() for mark in choosing.marks()]
        for number in range(count // _A_STATION):
            station = unit.stations.add(
                name="Invented", latitude=47.0, longitude=None, time_zone="Etc/UTC", external_ref=None, public=False,
                now=now,
            )  # fmt: skip
            model = choosing.models(1)[0].to_document()
            unit.stations.add_model(station.station_id, model, source="given", fit_id=None, stamps=stamps, now=now)
            for place in range(number * _A_STATION, (number + 1) * _A_STATION):
                mark = {**like[place % len(like)], "latitude": 40.0 + 0.002 * place, "station": station.station_id}
                unit.marks.add(mark, external_ref=None, now=now, links={"station_id": station.station_id})
        unit.commit()


def _nightly(report: Report) -> None:
    """Print what a plan costs that was made the night before, with one mark of a hundred changed since."""
    count, changed = 400, 4
    with tempfile.TemporaryDirectory() as folder:
        house = House(
            Settings(auth="open", store=folder, log_level="error", plan_workers=_PROCESSES, max_plan_cells=10**8)
        )
        house.open()
        try:
            _fill(house.store, count)
            end = _START + np.timedelta64(_DAYS, "D")
            request = PlanRequest(
                TimeSpan(_START, end),
                None,
                None,
                SessionOptions(),
                None,
                20.0,
                OutingFacts(),
                False,
                31,
                True,
                "nightly",
            )
            full, _ = _made(house, house.runner, request)
            with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
                for record in unit.marks.page(None, changed):
                    (document,) = unit.marks.documents([(record.id, record.version)]).values()
                    links = {"station_id": document["station"]}
                    document = {**document, "notes": "changed"}
                    unit.marks.replace(record, document, external_ref=None, now=utc_now(), links=links)
                unit.commit()
            again, _ = _made(house, house.runner, request)
        finally:
            house.close()
    share = again / full
    report.add(f"plan of {count} marks as a job", full, "s")
    report.add("plan: the same with 1 % of the marks changed, part of it", share, "x", "<= 0.05", share <= 0.05)


def _read(report: Report) -> None:
    """Print how fast what is stored of a plan is read, in rates of a route that returns as many stored bytes."""
    with served() as client:
        station = json.loads(client.call("POST", "/v1/stations", STATION))
        mark = json.loads(client.call("POST", "/v1/marks", {**MARK, "station": station["id"]}))["id"]
        client.call("POST", "/v1/species-rules", RULE)
        asked = {"month": "2026-06", "series": "read"}
        plan = json.loads(client.call("POST", "/v1/plans", asked))["id"]
        while json.loads(client.call("GET", f"/v1/plans/{plan}"))["state"] in ("queued", "running"):
            time.sleep(0.05)
        feed = json.loads(client.call("POST", "/v1/feeds", {"name": "Read", "series": "read"}))["path"]
        place = f"/v1/plans/{plan}/marks/{mark}"
        for what, path in (
            ("mark", place), ("chart", f"{place}/chart"), ("month sheet", f"{place}/sheet"), ("feed", feed)
        ):  # fmt: skip
            client.call("GET", f"/v1/floor/{len(client.call('GET', path))}")
            mine, floors = [], []
            for _ in range(400):
                mine.append(seconds(partial(client.call, "GET", path)))
                floors.append(seconds(partial(client.call, "GET", "/v1/floor")))
            rate = median(floors) / median(mine)
            report.add(f"plan: a stored {what} read, rate in floors", rate, "x", ">= 0.8", rate >= 0.8)


def run(report: Report) -> None:
    """Print all figures of plans."""
    report.heading(f"Plans, {_MARKS} marks x {_RULES} rules x {_DAYS} days, sun, moon and conditions")
    for part in (_computing, _cost_of_a_mark, _nightly, _read, _clustered):
        part(report)
