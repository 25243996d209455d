from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from tests.tidecore.offsets.tables import by_ratio, evenly
from tests.tidecore.timeline.places import mark_at, mark_without_lags, model_of
from tidecore.errors import InvalidInput
from tidecore.flow import day_rates, neap_ratio
from tidecore.place import StreamRates
from tidecore.timeline import build_timeline

RATES = {
    "spring_flood_m_per_s": 1.5,
    "spring_ebb_m_per_s": 1.2,
    "neap_flood_m_per_s": 0.7,
    "neap_ebb_m_per_s": 0.6,
}
START, END = "2026-03-01", "2026-05-01"


def test_neaps_are_the_difference_of_m2_and_s2_over_springs() -> None:
    # M2 and S2 alone: springs go by the sum of both, neaps by the difference; the mean of three days, whose range
    # is never the least, raises neaps.
    assert neap_ratio(model_of("beating").harmonics) == pytest.approx((1.6 - 0.4) / (1.6 + 0.4), abs=0.05)
    assert neap_ratio(model_of("plain").harmonics) == 1.0


def test_rates_of_a_day_are_those_of_springs_and_neaps_and_linear_between() -> None:
    rates = StreamRates(**RATES)  # type: ignore[arg-type]
    flood, ebb = day_rates(rates, np.array([1.0, 0.6, 0.8, 1.2, 0.0]), 0.6)
    np.testing.assert_allclose(flood, [1.5, 0.7, 1.1, 1.9, 0.0], atol=1e-12)
    np.testing.assert_allclose(ebb, [1.2, 0.6, 0.9, 1.5, 0.0], atol=1e-12)
    root = rates.model_copy(update={"scaled_by": "root_of_range"})
    flood, _ = day_rates(root, np.array([1.0, 0.6, 0.8]), 0.6)
    middle = 0.7 + 0.8 * (np.sqrt(0.8) - np.sqrt(0.6)) / (1.0 - np.sqrt(0.6))
    np.testing.assert_allclose(flood, [1.5, 0.7, middle], atol=1e-12)


@pytest.mark.parametrize("offsets", [None, evenly(40, 20, by_ratio(1.3)).to_document()])
def test_every_half_tide_peaks_at_the_rate_of_its_day(offsets: object) -> None:
    model, mark = model_of("beating"), mark_at(stream_rates=RATES, offsets=offsets)
    timeline = build_timeline(mark, model, START, END, "1min")
    speed, index = timeline.columns["stream_speed"], timeline.columns["flow_index"]
    assert not np.isnan(speed).any()
    np.testing.assert_array_equal(np.sign(speed), np.sign(index))
    # M2 and S2 peak in the middle of the half tide: by hand, the rate of the day there.
    ratio = timeline.columns["range_ratio"]
    expected_flood, expected_ebb = day_rates(mark.stream_rates, ratio, neap_ratio(model.harmonics))  # type: ignore[arg-type]
    change = np.flatnonzero(np.diff(np.sign(index)) != 0)
    for first, last in pairwise(change[1:]):
        peak = first + int(np.argmax(np.abs(speed[first:last])))
        expected = expected_flood[peak] if speed[peak] > 0 else -expected_ebb[peak]
        assert speed[peak] == pytest.approx(expected, rel=2e-3)
    slacks = np.array([e.time for e in timeline.events() if e.kind.startswith("slack")])
    np.testing.assert_allclose(timeline.at(slacks, ["stream_speed"])["stream_speed"], 0.0, atol=1e-6)


def test_springs_run_at_spring_rates_and_neaps_at_neap_rates() -> None:
    # Those are means over a nodal cycle; M2 is 3% less than its own mean in 2026.
    timeline = build_timeline(mark_at(stream_rates=RATES), model_of("beating"), START, END, "5min")
    speed, days = timeline.columns["stream_speed"], np.abs(timeline.columns["days_from_springs"])
    assert speed[days < 0.5].max() == pytest.approx(1.5, rel=0.06)
    assert speed[days < 0.5].min() == pytest.approx(-1.2, rel=0.06)
    assert speed[days > 7.1].max() == pytest.approx(0.7, rel=0.1)


def test_speed_is_unknown_without_rates_or_tide() -> None:
    plain = build_timeline(mark_at(), model_of("large"), START, "2026-03-02")
    assert np.isnan(plain.columns["stream_speed"]).all()
    assert "stream_speed" in plain.unknown_names()
    none = build_timeline(mark_without_lags(stream_rates=RATES), model_of("none"), START, "2026-03-02")
    assert np.isnan(none.columns["stream_speed"]).all()


def test_bad_rates_are_refused_all_at_once() -> None:
    with pytest.raises(InvalidInput) as raised:
        mark_at(stream_rates=RATES | {"spring_flood_m_per_s": 0, "neap_ebb_m_per_s": -1, "scaled_by": "guess"})
    assert {fault.field for fault in raised.value.faults} == {
        "stream_rates.spring_flood_m_per_s",
        "stream_rates.neap_ebb_m_per_s",
        "stream_rates.scaled_by",
    }
