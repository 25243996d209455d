"""Plans as they are kept and read: the job around the computing, little changed since, answers over HTTP, starting.

Marks, tides and rules are those of the search of many marks, five marks a station. What a mark costs beside being
computed is told of plans in which every mark has the same result, worked out beforehand.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any
from unittest import mock

import numpy as np

import tidecore
from service.bootstrap import House, place_of
from service.jobs.plan_work import MarkOutcome, PlanChunk, plan_chunk
from service.jobs.worker import JobTask
from service.security import LOCAL_ACCOUNT, WRITE, Caller
from service.settings import Settings
from service.storage.records import DONE
from service.storage.unit import Store
from service.usecases import planning
from service.usecases.context import utc_now
from service.usecases.plans import PlanRequest, request_plan
from tests.benchmarks import choosing
from tests.benchmarks.measure import Report, seconds
from tests.benchmarks.processes import cpu_s, memory_mib
from tests.benchmarks.search import MARK, RULE, STATION, Client, served
from tidecore.safety import OutingFacts
from tidecore.timebase import TimeSpan
from tidecore.windows import SessionOptions

_RULES, _DAYS, _A_STATION = 6, 31, 5
_PROCESSES = 2
_START = np.datetime64("2026-10-01T00:00", "us")
#: Documents are asked for so often.
_READS = 300


@contextmanager
def _house(count: int, **settings: Any) -> Iterator[House]:
    """Open a store of so many marks; jobs do not run by themselves."""
    with tempfile.TemporaryDirectory() as folder:
        house = House(Settings(auth="open", store=folder, log_level="error", max_plan_cells=10**8, **settings))
        house.open(with_runner=False)
        try:
            _fill(house.store, count)
            yield house
        finally:
            house.close()


def _request(series: str) -> PlanRequest:
    span = TimeSpan(_START, _START + np.timedelta64(_DAYS, "D"))
    return PlanRequest(span, None, None, SessionOptions(), None, 20.0, OutingFacts(), False, 31, True, series)


def _made(house: House, request: PlanRequest, workers: int) -> float:
    """Make a plan as a job does, in so many processes, and return the processor time of all of them [s]."""
    caller = Caller(LOCAL_ACCOUNT, frozenset({WRITE}))
    request_plan(house.context, caller, request)
    with house.store.queue(writes=True) as queue:
        job = queue.claim([planning.PLAN], "run_here", utc_now(), utc_now() + timedelta(hours=1))
    assert job is not None, "it was asked for"
    place = replace(place_of(house.settings), plan_workers=workers)
    used = cpu_s()
    outcome = planning.make_plan(JobTask(job.claim, dict(job.input), place), lambda _done, _total, _note: None)
    used = cpu_s() - used
    assert outcome.result is not None, outcome
    assert outcome.trace is None, outcome
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        unit.jobs.finish(job.claim, DONE, utc_now(), result=outcome.result)
        unit.commit()
    return used


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


def _keeping(report: Report) -> None:
    """Print what a mark costs to be read, handed out and written, by the number of marks."""
    costs = {}
    for count in (100, 1_000, 10_000):
        with _house(count) as house:
            costs[count] = _kept(house) / count
    report.add("plan: beside the computing, processor time of a mark", costs[1_000] * 1e3, "ms")
    for count in (1_000, 10_000):
        ratio = costs[count] / costs[100]
        report.add(f"plan: that of a mark among {count}, over among 100", ratio, "x", "<= 1.15", ratio <= 1.15)


def _kept(house: House) -> float:
    """Return the processor time of a plan in which every mark has the result of the first [s]."""
    found: list[MarkOutcome] = []

    def known(chunk: PlanChunk) -> list[MarkOutcome]:
        if not found:
            found.extend(plan_chunk(replace(chunk, marks=chunk.marks[:1])))
        return [replace(found[0], mark_id=one.mark_id) for one in chunk.marks]

    with mock.patch.object(planning, "plan_chunk", known):
        # The first run works out the one result, and is not counted; each asks for another way there, so computes all.
        _, *spent = [_made(house, replace(_request("kept"), travel_min=20.0 + k), 1) for k in range(3)]
    return min(spent)


def _nightly(report: Report) -> None:
    """Print what a plan costs that was made the night before, with one mark of a hundred changed since."""
    count, changed = 400, 4
    with _house(count) as house:
        full = _made(house, _request("nightly"), _PROCESSES)
        with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
            for record in unit.marks.page(None, changed):
                (document,) = unit.marks.documents([(record.id, record.version)]).values()
                links = {"station_id": document["station"]}
                document = {**document, "notes": "changed"}
                unit.marks.replace(record, document, external_ref=None, now=utc_now(), links=links)
            unit.commit()
        again = _made(house, _request("nightly"), _PROCESSES)
    share = again / full
    report.add(f"plan of {count} marks as a job, processor time over two", full / _PROCESSES, "s")
    report.add("plan: the same with 1 % of the marks changed, part of it", share, "x", "<= 0.05", share <= 0.05)


def _read(report: Report) -> None:
    """Print how fast what is stored of a plan is read, in rates of a route that returns as many stored bytes.

    Read whole, and as a program that polls asks, by the ETag of what it has.
    """
    with served() as client:
        station = json.loads(client.call("POST", "/v1/stations", STATION))
        mark = json.loads(client.call("POST", "/v1/marks", {**MARK, "station": station["id"]}))["id"]
        client.call("POST", "/v1/species-rules", RULE)
        plan = json.loads(client.call("POST", "/v1/plans", {"month": "2026-06", "series": "read"}))["id"]
        while json.loads(client.call("GET", f"/v1/plans/{plan}"))["state"] in ("queued", "running"):
            time.sleep(0.05)
        place = f"/v1/plans/{plan}/marks/{mark}"
        paths = {
            "mark": place,
            "chart": f"{place}/chart",
            "month sheet": f"{place}/sheet",
            "calendar": f"/v1/plans/{plan}/calendar",
            "feed": json.loads(client.call("POST", "/v1/feeds", {"name": "Read", "series": "read"}))["path"],
        }
        for name, path in paths.items():
            client.connection.request("GET", path)
            answer = client.connection.getresponse()
            content, tag = answer.read(), answer.headers["etag"]
            assert answer.status == 200, content
            # A calendar is written for whoever asks; what programs follow is the feed.
            if name != "calendar":
                _compared(report, client, f"stored {name} read", path, len(content), {}, 200)
            _compared(report, client, f"stored {name} by its ETag", path, len(content), {"if-none-match": tag}, 304)


def _compared(
    report: Report, client: Client, name: str, path: str, size: int, headers: dict[str, str], status: int
) -> None:
    client.call("GET", f"/v1/floor/{size}")
    mine, floors = [], []

    def ask() -> None:
        client.connection.request("GET", path, headers=headers)
        answer = client.connection.getresponse()
        answer.read()
        assert answer.status == status, answer.status

    ask()
    for _ in range(_READS):
        mine.append(seconds(ask))
        floors.append(seconds(partial(client.call, "GET", "/v1/floor")))
    rate = median(floors) / median(mine)
    report.add(f"plan: a {name}, rate in floors", rate, "x", ">= 0.8", rate >= 0.8)


def _starting(report: Report) -> None:
    """Print how long the service takes to its first answer from a store that is there, and idles at."""
    with _house(100) as house:
        folder = house.settings.store
        house.close()
        spent, used, idle = zip(*(_started(str(folder)) for _ in range(3)), strict=True)
    report.add("start to the first answer, existing store", min(spent), "s", "<= 2", min(spent) <= 2.0)
    report.add("start to the first answer: processor time", min(used), "s")
    report.add("memory of the idle service (PSS)", median(idle), "MiB")


def _started(folder: str) -> tuple[float, float, float]:
    """Return how long the first answer takes, its processor time [s], and the memory a second later [MiB]."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    given = {"EBBMARK_STORE": folder, "EBBMARK_PORT": str(port), "EBBMARK_AUTH": "open", "EBBMARK_LOG_LEVEL": "error"}
    began = time.perf_counter()
    command = [sys.executable, "-c", "from service.cli import app; app()", "serve"]
    process = subprocess.Popen(command, env={**os.environ, **given})
    try:
        while True:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/v1/marks?limit=1", timeout=5) as answer:
                    assert json.load(answer)["items"]
                break
            except urllib.error.URLError:
                assert process.poll() is None, "it has ended"
                time.sleep(0.01)
        spent = time.perf_counter() - began
        ticks = (Path("/proc") / str(process.pid) / "stat").read_text().rpartition(")")[2].split()[11:13]
        time.sleep(1.0)
        return spent, sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK"), memory_mib(process.pid)
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait()


def run(report: Report) -> None:
    """Print all figures of plans that are kept."""
    report.heading("Plans kept, read, and the service started")
    for part in (_keeping, _nightly, _read, _starting):
        part(report)
