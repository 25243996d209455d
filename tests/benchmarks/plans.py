"""A month's plan of many marks as it is computed: in a pool as a job does it, by size, and on a Dask cluster.

Marks, tides and seas are those of the search of many marks, five marks a station; models and forecasts are decoded anew
in every process. Beside the time that passed is printed the processor time of all processes over two, which is the time
on two processors that nobody else uses. What a mark costs to compute is told of chunks of plans of 100 marks, 1,000 and
10,000, spread over all of them; what it costs to keep is in `plan_store`.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from functools import cache
from statistics import median
from typing import Any

import numpy as np

from service.jobs.plan_work import ChunkMark, MarkOutcome, PlanChunk, PlanQuestion, plan_chunk
from service.jobs.spreading import Here, Pool, Spread
from tests.benchmarks import choosing
from tests.benchmarks.measure import Report, kernel
from tests.benchmarks.processes import cpu_s, watched
from tidecore.safety import DEFAULTS

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


@cache
def _marks() -> list[dict[str, Any]]:
    """Return the marks that all others are like, as the store has them."""
    return [mark.to_document() for mark in choosing.marks()]


@cache
def _tide() -> dict[str, Any]:
    """Return the model of every station, as the store has it; each is decoded for itself."""
    return choosing.models(1)[0].to_document()


@cache
def _sea(station: int) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return what is told of the sea off a station, as the store has it."""
    return [issue.to_document() for issue in choosing.conditions(station, _START).issues], []


def _chunks(question: PlanQuestion, places: Sequence[int]) -> Iterator[PlanChunk]:
    """Yield the marks of some places in chunks, with the tides and seas of their stations."""
    like = _marks()
    for first in range(0, len(places), _A_CHUNK):
        some = places[first : first + _A_CHUNK]
        stations = sorted({place // _A_STATION for place in some})
        tides = {f"tide {one}": _tide() for one in stations}
        seas = {f"sea {one}": _sea(one) for one in stations}
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


def _run(spread: Spread, repetition: int, places: Sequence[int]) -> tuple[list[MarkOutcome], float, float]:
    """Return what comes of the marks of some places, and the time that passed and the processor's [s].

    The documents of the seas are at hand, as they are in a store; chunks are made as they are asked for.
    """
    for station in {place // _A_STATION for place in places}:
        _sea(station)
    _tide()
    _marks()
    began, used = time.perf_counter(), cpu_s()
    outcomes = [one for some in spread.run(plan_chunk, _chunks(_question(repetition), places)) for one in some]
    spent, used = time.perf_counter() - began, cpu_s() - used
    assert len(outcomes) == len(places)
    assert all(one.problem is None for one in outcomes), [one for one in outcomes if one.problem][:1]
    return outcomes, spent, used


def _computing(report: Report) -> None:
    beside = kernel()
    with watched() as peak:
        outcomes, spent, used = _run(Pool(_PROCESSES), 0, range(_MARKS))
    size = f"{_MARKS} marks x {_RULES} rules x {_DAYS} days"
    report.add(f"plan, {size}, two processes", spent, "s")
    alone = used / _PROCESSES
    report.add("plan: processor time of all processes, over two", alone, "s", "<= 20", alone <= 20)
    report.add("plan: that in calibration kernels", alone / beside, "x")
    kept = sum(len(one.content or b"") for one in outcomes)
    report.add("plan: kept of a mark, compressed", kept / _MARKS / 1024, "KiB")
    report.add("plan: memory of all processes (PSS)", peak.mib, "MiB", "<= 1024", peak.mib <= 1024)


def _cost_of_a_mark(report: Report) -> None:
    """Print what computing a mark costs in small, large and very large plans, in one process and in turn."""
    costs: dict[int, list[float]] = {100: [], 1_000: [], 10_000: []}
    for repetition in range(3):
        for count, found in costs.items():
            step = count // 100
            places = [one * step * _A_CHUNK + k for one in range(100 // _A_CHUNK) for k in range(_A_CHUNK)]
            found.append(_run(Here(), 10 + repetition, places)[2] / len(places))
    few = median(costs[100])
    report.add("plan: processor time of a mark", few * 1e3, "ms")
    for count in (1_000, 10_000):
        ratio = median(costs[count]) / few
        report.add(f"plan: a mark among {count}, over one among 100", ratio, "x", "0.85 to 1.15", 0.85 <= ratio <= 1.15)


def _clustered(report: Report) -> None:
    """Print how much faster two workers of a Dask cluster are than one, with the results that there are here."""
    import distributed

    from service.jobs.cluster import Cluster

    places = range(8 * _A_CHUNK)
    here = {one.mark_id: one for one in _run(Here(), 21, places)[0]}
    spent = {}
    for workers in (1, 2):
        with distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
        ) as local:
            cluster = Cluster(local.scheduler_address)
            # Each worker loads what it needs, and is not measured doing so.
            _run(cluster, 20, range(4 * _A_CHUNK))
            outcomes, spent[workers], _ = _run(cluster, 21, places)
            assert {one.mark_id: one for one in outcomes} == here
    report.add("plan: Dask, one worker over two", spent[1] / spent[2], "x", "> 1", spent[1] > spent[2])


def run(report: Report) -> None:
    """Print all figures of computing plans."""
    report.heading(f"Plans, {_MARKS} marks x {_RULES} rules x {_DAYS} days, sun, moon and conditions")
    for part in (_computing, _cost_of_a_mark, _clustered):
        part(report)
