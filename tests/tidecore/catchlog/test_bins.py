from __future__ import annotations

import numpy as np
import pytest

from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.catchlog import Deployment, bins_at, effort_by_bin, factor_bins, shares
from tidecore.errors import InvalidInput, UnknownName
from tidecore.timeline import build_timeline

SECOND = 1_000_000


@pytest.fixture(scope="module")
def timeline():
    return build_timeline(mark_at(), model_of("double_low"), "2026-03-20T00:00", "2026-03-21T01:00")


def whole(bins, timeline):
    """Assert that the bins are the whole span, without meeting."""
    rows = np.concatenate(list(bins.values()))
    rows = rows[np.argsort(rows[:, 0])]
    assert rows[0, 0] == timeline.span.start_us
    assert rows[-1, 1] == timeline.span.end_us
    np.testing.assert_array_equal(rows[1:, 0], rows[:-1, 1])


@pytest.mark.parametrize(
    ("name", "edges"),
    [
        ("height", (2.5, 3.0, 3.4)),
        ("flow_index", (-0.5, 0.0, 0.5)),
        ("light", ()),
        ("named_phase", ()),
        ("access_open", ()),
    ],
)
def test_bins_are_those_seen_second_by_second(timeline, name, edges):
    found = factor_bins(timeline, name, edges)
    whole(found, timeline)
    seconds = np.arange(timeline.span.start_us, timeline.span.end_us, SECOND)
    seen = np.array(bins_at(timeline, name, edges, seconds))
    for label, rows in found.items():
        length = int((rows[:, 1] - rows[:, 0]).sum())
        assert abs(length / SECOND - int((seen == label).sum())) <= max(1, len(rows)), label
    assert sum(len(rows) > 0 for rows in found.values()) == len(set(seen.tolist()))


def test_the_effort_of_a_deployment_is_parted_by_bins_of_a_factor(timeline):
    times = {"start": "2026-03-20T01:07:03Z", "end": "2026-03-20T08:41:11Z"}
    casts = [
        {"out": "2026-03-20T01:09:00Z", "in": "2026-03-20T04:00:30Z"},
        {"out": "2026-03-20T04:02:00Z", "in": times["end"]},
    ]
    one = Deployment.parse({"ref": "a", "rod": "near", "casts": casts, **times})
    edges = (2.5, 3.0, 3.4)
    found = effort_by_bin([one], factor_bins(timeline, "height", edges))
    parts = []
    for span in casts:
        start, end = (int(np.datetime64(span[word][:-1], "us").astype(np.int64)) for word in ("out", "in"))
        parts.append(np.arange(start, end, SECOND))
    seen = np.array(bins_at(timeline, "height", edges, np.concatenate(parts)))
    assert sum(effort.bait_on_us for effort in found.values()) == sum(map(len, parts)) * SECOND
    for label, effort in found.items():
        assert effort.bait_on_us / SECOND == pytest.approx(int((seen == label).sum()), abs=4.0)


def test_what_is_unknown_has_its_bin():
    bare = build_timeline(mark_without_lags(), model_of("plain"), "2026-03-20T00:00", "2026-03-20T06:00")
    found = factor_bins(bare, "wave_height", (1.0,))
    assert [len(rows) for rows in found.values()] == [0, 0, 1]
    assert list(found) == ["under 1", "1 and over", "unknown"]


@pytest.mark.parametrize(
    ("name", "edges"), [("height", ()), ("height", (2.0, 1.0)), ("height", (float("nan"),)), ("light", (1.0,))]
)
def test_bins_that_are_none_are_refused(timeline, name, edges):
    with pytest.raises(InvalidInput):
        factor_bins(timeline, name, edges)


def test_an_unknown_factor_is_named(timeline):
    with pytest.raises(UnknownName):
        factor_bins(timeline, "luck", (1.0,))


def test_an_unsure_time_lies_in_several_bins():
    minute = 60 * SECOND
    bins = {"early": np.array([[0, 100 * minute]]), "late": np.array([[100 * minute, 300 * minute]])}
    assert shares(bins, 100 * minute, 5) == {"early": 0.5, "late": 0.5}
    assert list(shares(bins, 110 * minute, 15)) == ["late", "early"]
    assert shares(bins, 110 * minute, 15)["late"] == pytest.approx(25 / 30)
    assert shares(bins, 110 * minute, 5) == {"late": 1.0}
    assert shares(bins, 300 * minute, 15) == {"late": 0.5}
    assert shares(bins, 400 * minute, 5) == {}
