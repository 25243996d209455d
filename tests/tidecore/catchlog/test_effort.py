from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.catchlog.trips import cast, deployment
from tidecore.catchlog import Deployment, bait_on, effort_by_bin, effort_of, overlap_us

START = datetime(2026, 10, 10, 18, tzinfo=UTC)
START_S = int(START.timestamp())
SECONDS = 4000


@st.composite
def deployments(draw):
    """Rods in use, each with casts one after the other, or with none on record; whole seconds."""
    found = []
    for rod in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, SECONDS - 2))
        end = draw(st.integers(start + 1, SECONDS))
        marks = sorted(draw(st.lists(st.integers(start, end), max_size=8, unique=True)))
        casts = [
            {"out": START + timedelta(seconds=out), "in": START + timedelta(seconds=back)}
            for out, back in zip(marks[::2], marks[1::2], strict=False)
        ]
        times = {"start": START + timedelta(seconds=start), "end": START + timedelta(seconds=end)}
        found.append(Deployment.parse({"ref": str(rod), "rod": str(rod), "casts": casts, **times}))
    return found


spans = st.lists(st.tuples(st.integers(-100, SECONDS + 100), st.integers(0, 1500)), max_size=6).map(
    lambda rows: np.array([(a, a + length) for a, length in rows], dtype=np.int64).reshape(-1, 2)
)


def second_by_second(sets, bin_):
    """How many seconds of the sets, each for itself, lie in the bin."""
    axis = np.arange(-200, SECONDS + 2000)
    held = np.zeros(axis.size, dtype=bool)
    for start, end in bin_:
        held |= (axis >= start) & (axis < end)
    return sum(int((held & (axis >= start) & (axis < end)).sum()) for rows in sets for start, end in rows)


def in_seconds(rows):
    return rows // 1_000_000 - START_S


@given(deployments(), st.lists(spans, min_size=1, max_size=4))
def test_effort_per_bin_is_that_counted_second_by_second(rods, bins):
    named = {str(place): (bin_ + START_S) * 1_000_000 for place, bin_ in enumerate(bins)}
    found = effort_by_bin(rods, named)
    on = [in_seconds(bait_on(rod)) for rod in rods]
    raw = [in_seconds(np.array([[rod.start.timestamp(), rod.end.timestamp()]]) * 1e6).astype(int) for rod in rods]
    for place, bin_ in enumerate(bins):
        effort = found[str(place)]
        assert effort.bait_on_us == second_by_second(on, bin_) * 1_000_000
        assert effort.raw_us == second_by_second(raw, bin_) * 1_000_000
        uncast = [rows for rows, rod in zip(raw, rods, strict=True) if not rod.casts]
        assert effort.uncast_us == second_by_second(uncast, bin_) * 1_000_000


@given(deployments(), st.integers(1, SECONDS - 1))
def test_bins_that_part_the_time_part_the_effort(rods, border):
    ends = [(START_S + at) * 1_000_000 for at in (0, border, SECONDS)]
    parts = effort_by_bin(rods, {"early": np.array([ends[:2]]), "late": np.array([ends[1:]])})
    assert parts["early"] + parts["late"] == effort_of(rods)


def test_bait_on_time_stands_beside_raw_rod_hours():
    cast_ = Deployment.parse(deployment(casts=[cast("18:00", "18:30"), cast("18:45", "19:00")]))
    rest = Deployment.parse(deployment("b", rod="far"))
    effort = effort_of([cast_, rest])
    assert (effort.bait_on_h, effort.raw_rod_h, effort.uncast_us) == (0.75, 4.0, 7_200_000_000)
    assert not effort.bait_on_known
    assert effort_of([cast_]).bait_on_known


def test_of_nothing_there_is_nothing():
    none = np.empty((0, 2), dtype=np.int64)
    some = np.array([[3, 9]])
    assert overlap_us(none, some) == overlap_us(some, none) == 0
    assert overlap_us(np.array([[9, 3]]), np.array([[0, 20]])) == 0
    assert effort_of([]).raw_us == 0
    assert overlap_us(np.array([[0, 5], [4, 20]]), np.array([[3, 9], [5, 12]])) == pytest.approx(2 + 8)
