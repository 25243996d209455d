"""The same plan in one process, in a pool and on a Dask cluster of two workers, to the last byte."""

from __future__ import annotations

import gc
import os
import weakref
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from service.errors import ClusterUnreachable
from service.jobs.cluster import Cluster, open_spread
from service.jobs.fitting import RecordPiece, fit_piece
from service.jobs.plan_work import ChunkMark, MarkOutcome, PlanChunk, PlanQuestion, plan_chunk, unpack
from service.jobs.spreading import Here, Pool, in_flight
from service.storage.plain import plain
from tests.service.coast import example, gauge_csv
from tidecore import TideModel
from tidecore.safety import DEFAULTS
from tidecore.windows import search_marks

HINTS = {"unit": "m", "datum": "gauge zero", "time": "time", "level": "level"}
PIECES = [RecordPiece(f"{days}", "gauge.csv", gauge_csv(days), None, HINTS, 51.0, "") for days in (30, 31)]
RULE = {name: value for name, value in example("create_species_rule").items() if name != "external_ref"}
MARK = {name: value for name, value in example("create_mark").items() if name != "external_ref"}


def chunks(count: int = 4) -> Iterator[PlanChunk]:
    """Chunks of two marks, the last of a chunk whose station has a broken model."""
    told = example("create_station")["model"]
    lines = {name: (one["amplitude_m"], one["phase_deg"]) for name, one in told["constituents"].items()}
    model = TideModel.from_constituents(lines, latitude=51.0, mean_level=3.0, convention=told["convention"])
    question = PlanQuestion(
        start_us=1_780_272_000_000_000, end_us=1_780_876_800_000_000, rules=[("rul_1", RULE)],
        thresholds=DEFAULTS.to_document(), options={}, free_time=None, travel_min=0.0, facts={},
        include_dangerous=False, most=10, diverse=True,
    )  # fmt: skip
    tides = {"good": model.to_document(), "bad": {}}
    for number in range(count):
        marks = [
            ChunkMark(f"mrk_{number}{tide}", {**MARK, "latitude": 51.0 + number}, tide, None, {}) for tide in tides
        ]
        yield PlanChunk(question, marks, tides, {}, "nothing told")


def done(outcomes: Iterator[list[MarkOutcome]]) -> dict[str, MarkOutcome]:
    return {one.mark_id: one for some in outcomes for one in some}


@pytest.fixture(scope="module")
def here() -> dict[str, MarkOutcome]:
    return done(Here().run(plan_chunk, chunks()))


def test_a_mark_that_breaks_stops_no_other(here):
    assert len(here) == 8
    for key, one in here.items():
        if key.endswith("good"):
            assert one.problem is None
            assert unpack(one.content or b"")["sessions"]
        else:
            assert one.content is None
            assert one.problem is not None


def test_marks_of_a_chunk_come_to_what_each_comes_to_alone(here):
    good = [(chunk, mark) for chunk in chunks(2) for mark in chunk.marks if mark.tide == "good"]
    together = plan_chunk(replace(good[0][0], marks=[mark for _, mark in good]))
    assert together == [here[mark.mark_id] for _, mark in good]


def test_marks_that_break_only_together_are_planned_alone_and_the_log_is_told(here, monkeypatch):
    def broken(timelines, *rest):
        if len(timelines) > 1:
            raise RuntimeError("only together")
        return search_marks(timelines, *rest)

    monkeypatch.setattr("service.jobs.plan_work.search_marks", broken)
    good = [(chunk, mark) for chunk in chunks(2) for mark in chunk.marks if mark.tide == "good"]
    first, *others = plan_chunk(replace(good[0][0], marks=[mark for _, mark in good]))
    assert others == [here[mark.mark_id] for _, mark in good[1:]]
    assert replace(first, trace=None) == here[good[0][1].mark_id]
    assert (first.trace or "").endswith("RuntimeError")


def test_a_pool_comes_to_the_same(here):
    assert done(Pool(2).run(plan_chunk, chunks())) == here


def test_a_cluster_comes_to_the_same(here):
    distributed = pytest.importorskip("distributed", reason="the extra dask is not installed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as local:
        cluster = Cluster(local.scheduler_address)
        assert done(cluster.run(plan_chunk, chunks())) == here
        fitted = sorted(cluster.run(fit_piece, iter(PIECES)), key=lambda one: one.key)
    # JSON and not ==: a figure that was not computed is NaN.
    assert [plain(one.model) for one in fitted] == [plain(fit_piece(one).model) for one in PIECES]


def test_a_scheduler_that_does_not_answer_is_named():
    with pytest.raises(ClusterUnreachable, match=r"tcp://127\.0\.0\.1:1 "):
        list(Cluster("tcp://127.0.0.1:1", patience_s=0.2).run(plan_chunk, chunks(1)))


def test_no_more_pieces_are_made_than_are_under_way():
    made = []

    def pieces() -> Iterator[int]:
        for number in range(20):
            made.append(number)
            yield number

    with ThreadPoolExecutor(2) as pool:
        for count, _ in enumerate(in_flight(lambda piece: pool.submit(abs, piece), pieces(), 4), start=1):
            assert len(made) <= count + 2 * 4


class Ring:
    """A thing that holds itself: garbage that nothing but the collector frees."""

    def __init__(self) -> None:
        self.itself = self


def test_garbage_of_a_piece_is_collected_before_the_next():
    left: list[weakref.ref[Ring]] = []

    def work(_: int) -> tuple[bool, int]:
        there = sum(one() is not None for one in left)
        left.append(weakref.ref(Ring()))
        return gc.isenabled(), there

    frozen = gc.get_freeze_count()
    assert list(Here().run(work, iter(range(3)))) == [(False, 0)] * 3
    assert gc.isenabled()
    assert gc.get_freeze_count() <= frozen


def test_where_pieces_are_done_is_a_setting():
    assert isinstance(open_spread(1, None), Here)
    assert isinstance(open_spread(3, None), Pool)
    assert isinstance(open_spread(0, None), Pool if len(os.sched_getaffinity(0)) > 1 else Here)
    assert isinstance(open_spread(3, "tcp://127.0.0.1:8786"), Cluster)
