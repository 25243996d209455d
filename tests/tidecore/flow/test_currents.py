from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.tidecore.extremes.plain_tide import plain_tide
from tests.tidecore.timeline.places import mark_at, model_of
from tidecore.errors import InvalidInput, InvalidSpan, RecordTooShort, SlackUndetermined
from tidecore.flow import Stream, fit_stream, stream_timing
from tidecore.timeline import build_timeline
from tidecore.units import FloatArray, UtcTimes

MODEL = model_of("beating")
START = np.datetime64("2026-03-01", "us")
LATITUDE = 50.0


def instants(days: float = 32.0, minutes: int = 30) -> UtcTimes:
    return START + np.arange(round(days * 1440 / minutes)) * np.timedelta64(minutes, "m").astype("timedelta64[us]")


def current(
    times: UtcTimes,
    *,
    towards: float = 60.0,
    later_min: float = 0.0,
    mean: tuple[float, float] = (0.0, 0.0),
    across: float = 0.0,
    noise: float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """A stream that runs as the level moves some minutes earlier; ``across`` lags it by a quarter of a tide."""
    shift = np.timedelta64(round(later_min * 60e6), "us")
    quarter = np.timedelta64(round(3.105 * 3600e6), "us")
    along = MODEL.rates(times - shift)
    side = across * MODEL.rates(times - shift - quarter)
    generator = np.random.default_rng(4)
    angle = np.radians(towards)
    u = along * np.sin(angle) + side * np.cos(angle) + mean[0] + generator.normal(0.0, noise, times.size)
    v = along * np.cos(angle) - side * np.sin(angle) + mean[1] + generator.normal(0.0, noise, times.size)
    return u, v


def fitted(days: float = 32.0, **changes: Any) -> Stream:
    times = instants(days)
    return fit_stream(times, *current(times, **changes), latitude=LATITUDE, tide=MODEL.harmonics)


def around() -> Any:
    return MODEL.extremes(START - np.timedelta64(2, "D"), START + np.timedelta64(45, "D"))


@pytest.mark.parametrize("towards", [0.0, 60.0, 135.0, 200.0, 330.0])
def test_the_principal_axis_is_found_with_the_flood_at_its_end(towards: float) -> None:
    stream = fitted(towards=towards, mean=(0.05, -0.02), noise=0.05)
    turn = (stream.towards_deg - towards + 180.0) % 360.0 - 180.0
    assert abs(turn) < 0.5
    assert stream.across_part < 0.02
    assert stream.residual_rms == pytest.approx(0.05 * np.sqrt(2.0), rel=0.1)
    assert stream.variance_explained > 0.98
    unit = np.array([np.sin(np.radians(towards)), np.cos(np.radians(towards))])
    assert stream.along.mean_level == pytest.approx(unit @ [0.05, -0.02], abs=0.005)


def test_ellipses_are_those_of_the_two_dimensional_fit_of_utide() -> None:
    import utide

    times = instants()
    u, v = current(times, towards=35.0, across=0.3, noise=0.02)
    stream = fit_stream(times, u, v, latitude=LATITUDE, tide=MODEL.harmonics)
    days = times.view(np.int64) / 86_400e6 + 719_163.0
    coefficients = utide.solve(
        days, u, v, lat=LATITUDE, epoch="python", constit=list(stream.east.names), nodal=True, trend=False,
        method="ols", conf_int="none", phase="Greenwich", verbose=False,
    )  # fmt: skip
    for name, major, minor in zip(coefficients["name"], coefficients["Lsmaj"], coefficients["Lsmin"], strict=True):
        k, m = stream.east.names.index(name), stream.north.names.index(name)
        east = stream.east.amplitude[k] * np.exp(-1j * np.radians(stream.east.phase[k]))
        north = stream.north.amplitude[m] * np.exp(-1j * np.radians(stream.north.phase[m]))
        # Rotary components: a + i b of both rotations; their sum and difference are the half axes.
        plus, minus = abs(east + 1j * north) / 2.0, abs(np.conj(east) + 1j * np.conj(north)) / 2.0
        assert plus + minus == pytest.approx(major, abs=1e-6)
        assert abs(plus - minus) == pytest.approx(abs(minor), abs=1e-6)


@pytest.mark.parametrize("later_min", [-90.0, 0.0, 45.0, 120.0])
def test_slack_lags_come_back(later_min: float) -> None:
    timing = stream_timing(fitted(later_min=later_min, noise=0.05), around(), MODEL.harmonics)
    for lag in (timing.after_hw, timing.after_lw):
        assert lag.lag_min == pytest.approx(later_min, abs=2.0)
        assert lag.low_min <= lag.lag_min <= lag.high_min
        assert lag.high_min - lag.low_min < 15.0
        assert lag.tides > 55
    assert timing.lags.after_hw_min == timing.after_hw.lag_min


def test_rates_come_back_at_springs_and_neaps_and_drive_the_stream_of_a_mark() -> None:
    timing = stream_timing(fitted(), around(), MODEL.harmonics)
    rates = timing.rates
    assert rates is not None
    # The stream is the rate of the level in other units: its mean spring peak is the normaliser.
    assert rates.spring_flood_m_per_s == pytest.approx(MODEL.flow_normaliser, rel=0.02)
    assert rates.spring_ebb_m_per_s == pytest.approx(MODEL.flow_normaliser, rel=0.02)
    # Neaps by hand: the speed of S2 less than that of M2 [radians/h].
    neaps = 1.6 * np.radians(28.9841042) - 0.4 * np.radians(30.0)
    assert rates.neap_flood_m_per_s == pytest.approx(neaps, rel=0.05)
    lags = {"after_hw_min": timing.lags.after_hw_min, "after_lw_min": timing.lags.after_lw_min}
    mark = mark_at(slack_lags=lags, stream_rates=rates.to_document())
    timeline = build_timeline(mark, MODEL, "2026-03-05", "2026-04-05")
    wanted = MODEL.rates(timeline.times)
    error = timeline.columns["stream_speed"] - wanted
    assert np.sqrt((error**2).mean()) < 0.05 * wanted.std()


def test_a_record_of_alike_tides_has_lags_and_no_rates() -> None:
    plain, times = model_of("plain"), instants(7.5)
    stream = fit_stream(times, *current(times), latitude=LATITUDE, tide=plain.harmonics)
    tides = plain.extremes(START - np.timedelta64(2, "D"), START + np.timedelta64(10, "D"))
    timing = stream_timing(stream, tides, plain.harmonics)
    assert timing.rates is None
    assert abs(timing.after_hw.lag_min) < 60.0
    assert stream_timing(stream, tides, plain_tide(("M2", 0.0, 0))).rates is None


def test_a_canal_has_no_current_across() -> None:
    times = instants()
    along = MODEL.rates(times)
    stream = fit_stream(times, np.zeros(times.size), along, latitude=LATITUDE, tide=MODEL.harmonics)
    assert stream.towards_deg == pytest.approx(0.0, abs=1e-6)
    assert stream.across_part == pytest.approx(0.0, abs=1e-9)


def test_one_component_is_a_clear_problem() -> None:
    times = instants()
    u, _ = current(times)
    with pytest.raises(InvalidInput, match="north: is missing; expected both components"):
        fit_stream(times, u, None, latitude=LATITUDE, tide=MODEL.harmonics)
    with pytest.raises(InvalidInput, match="north: holds no value"):
        fit_stream(times, u, np.full(u.size, np.nan), latitude=LATITUDE, tide=MODEL.harmonics)


def test_bad_records_are_refused_with_every_fault() -> None:
    times = instants(10.0)
    u, v = current(times)
    with pytest.raises(InvalidInput) as raised:
        fit_stream(times[::-1], u * 100.0, v[:-1], latitude=LATITUDE, tide=MODEL.harmonics)
    assert {fault.field.partition(".")[0] for fault in raised.value.faults} == {"times", "east", "north"}
    with pytest.raises(RecordTooShort):
        fit_stream(times[:200], u[:200], v[:200], latitude=LATITUDE, tide=MODEL.harmonics)
    # Two days at either end of ten are 94 pairs.
    ends = np.r_[0:94, -94:0][::2]
    with pytest.raises(RecordTooShort):
        fit_stream(times[ends], u[ends], v[ends], latitude=LATITUDE, tide=MODEL.harmonics)
    coarse = instants(40.0, 180)
    with pytest.raises(InvalidInput, match="at most an hour apart"):
        fit_stream(coarse, *current(coarse), latitude=LATITUDE, tide=MODEL.harmonics)


def test_which_way_the_flood_runs_must_be_known() -> None:
    times = instants()
    hardest = current(times, later_min=-186.3)
    for tide, told in ((None, "is not known"), (MODEL.harmonics, "is not told")):
        with pytest.raises(SlackUndetermined, match=told):
            fit_stream(times, *hardest, latitude=LATITUDE, tide=tide)
    given = fit_stream(times, *hardest, latitude=LATITUDE, flood_towards_deg=80.0)
    assert given.towards_deg == pytest.approx(60.0, abs=0.5)
    with pytest.raises(InvalidInput, match="within 75 degrees"):
        fit_stream(times, *hardest, latitude=LATITUDE, flood_towards_deg=150.0)


def test_a_stream_that_does_not_turn_tells_no_lags() -> None:
    with pytest.raises(SlackUndetermined, match="holds it one way"):
        stream_timing(fitted(mean=(2.0, 1.2)), around(), MODEL.harmonics)
    still = np.zeros(instants().size)
    with pytest.raises(SlackUndetermined, match="no current that moves"):
        fit_stream(instants(), still, still, latitude=LATITUDE, tide=MODEL.harmonics)


@pytest.mark.parametrize(("start", "end"), [("2026-03-05", "2026-03-08"), ("2026-02-26", "2026-03-30")])
def test_tides_must_reach_over_the_record(start: str, end: str) -> None:
    with pytest.raises(InvalidSpan, match="do not reach over"):
        stream_timing(fitted(), MODEL.extremes(start, end), MODEL.harmonics)


def test_waters_that_are_not_there_tell_no_lags() -> None:
    lows = around().lows()
    with pytest.raises(SlackUndetermined, match="0 of 0 high waters"):
        stream_timing(fitted(), lows, MODEL.harmonics)


def test_a_pair_of_which_half_is_missing_is_missing() -> None:
    times = instants()
    u, v = current(times, noise=0.05)
    generator = np.random.default_rng(6)
    no_east, no_north = generator.random(times.size) < 0.1, generator.random(times.size) < 0.1
    whole = ~(no_east | no_north)
    gappy = np.where(no_east, np.nan, u), np.where(no_north, np.nan, v)
    found = fit_stream(times, *gappy, latitude=LATITUDE, tide=MODEL.harmonics)
    expected = fit_stream(times[whole], u[whole], v[whole], latitude=LATITUDE, tide=MODEL.harmonics)
    assert found.values == int(whole.sum()) < times.size
    np.testing.assert_array_equal(found.along.amplitude, expected.along.amplitude)
