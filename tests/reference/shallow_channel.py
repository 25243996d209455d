"""A made-up gauge in a shallow channel: what friction and depth make of an astronomical tide, with weather.

The channel is one-dimensional, closed at its head, 10 m deep at the mouth and 5 m at the head; the equations are
those of long waves with advection, the water's own height in depth and continuity, and quadratic friction. The mouth
follows an astronomical tide with its node cycle; weather comes in through it too, so that it meets the tide in the
channel as at a real gauge. Every number is invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray

from tidecore.harmonics import Harmonics
from tidecore.timebase import US_PER_DAY, TimeGrid
from tidecore.units import FloatArray, IntArray

LATITUDE = 52.0
#: The tide at the mouth: amplitude [m] and Greenwich phase lag [degrees].
MOUTH = {
    "M2": (1.42, 60.0), "S2": (0.46, 112.0), "N2": (0.27, 38.0), "K2": (0.13, 110.0), "NU2": (0.055, 35.0),
    "MU2": (0.04, 60.0), "2N2": (0.036, 20.0), "L2": (0.04, 80.0), "T2": (0.027, 108.0), "LDA2": (0.012, 70.0),
    "K1": (0.075, 5.0), "O1": (0.095, 190.0), "P1": (0.025, 0.0), "Q1": (0.03, 140.0), "S1": (0.008, 30.0),
    "J1": (0.004, 40.0), "OO1": (0.003, 90.0), "RHO1": (0.005, 150.0), "M3": (0.006, 100.0), "SA": (0.07, 220.0),
    "MM": (0.012, 200.0), "MF": (0.015, 170.0),
}  # fmt: skip
#: Length [m], cells, and the cell of the gauge.
_LENGTH, _CELLS, _GAUGE = 45_000.0, 24, 16
_DRAG = 0.0025
_GRAVITY = 9.81
_STEP_S = 100
#: Days before each stretch until the channel has forgotten how it began, and days of a stretch.
_SPIN_UP, _STRETCH = 4, 32


@dataclass(frozen=True)
class ChannelGauge:
    """Four years of the gauge, hourly with weather, and one of its tide alone seven years after they end."""

    record: xarray.Dataset
    truth: FloatArray
    truth_grid: TimeGrid


def gauge_record(times_us: IntArray, levels: FloatArray) -> xarray.Dataset:
    """Return levels as a record of this gauge."""
    return xarray.Dataset(
        {"sea_level": ("time", levels)},
        coords={"time": times_us.view("datetime64[us]").astype("datetime64[ns]")},
        attrs={"latitude": LATITUDE, "datum": "unknown"},
    )


def shallow_gauge(first: str = "2009-01-01", years: int = 4, seed: int = 11, step: str = "10min") -> ChannelGauge:
    """Return the gauge; the truth is every ten minutes, of the eleventh year after ``first``."""
    begin = np.datetime64(first)
    end = np.datetime64(str(int(first[:4]) + years) + first[4:])
    late = np.datetime64(str(int(first[:4]) + 10) + first[4:])
    observed = TimeGrid.spanning(begin, end, "1h")
    predicted = TimeGrid.spanning(late, np.datetime64(str(int(first[:4]) + 11) + first[4:]), step)
    levels = _run(observed, seed)
    # What no harmonic of the mouth explains: waves and the gauge itself.
    levels += np.random.default_rng(seed + 1).normal(0.0, 0.01, observed.count)
    return ChannelGauge(gauge_record(observed.times_us(), levels), _run(predicted, None), predicted)


def _mouth() -> Harmonics:
    values = np.array(list(MOUTH.values()))
    return Harmonics(tuple(MOUTH), values[:, 0], values[:, 1], LATITUDE)


def _weather(days: int, seed: int) -> FloatArray:
    """Return hourly red noise [m]: standard deviation 0.20 m, forgotten within a day and a half."""
    rng = np.random.default_rng(seed)
    noise = rng.normal(size=days * 24 + 24)
    kept = np.exp(-1.0 / 36.0)
    out = np.empty(len(noise))
    value = 0.0
    for at, kick in enumerate(noise):
        value = kept * value + kick
        out[at] = value
    return out * 0.20 * np.sqrt(1.0 - kept**2)


def _run(grid: TimeGrid, weather_seed: int | None) -> FloatArray:
    """Return levels at the gauge on ``grid``: stretches of a month run side by side, each after its spin-up."""
    days = -(-(grid.end_us - grid.start_us) // US_PER_DAY) + 1
    stretches = -(-days // _STRETCH)
    starts = grid.start_us + (np.arange(stretches) * _STRETCH - _SPIN_UP) * US_PER_DAY
    per_day = 86_400 // _STEP_S
    count = (_SPIN_UP + _STRETCH) * per_day + 1
    mouth = _mouth()
    forcing = np.array([mouth.heights(TimeGrid(int(start), _STEP_S * 1_000_000, count)) for start in starts])
    if weather_seed is not None:
        hourly = _weather((stretches + 1) * _STRETCH + 2 * _SPIN_UP, weather_seed)
        hours = np.arange(len(hourly)) * 3600.0
        for row, start in zip(forcing, starts, strict=True):
            since = (start - starts[0]) / 1e6 + np.arange(count) * float(_STEP_S)
            row += np.interp(since, hours, hourly)
    gauge = _channel(forcing)[:, _SPIN_UP * per_day :]
    seconds = np.arange(gauge.shape[1]) * float(_STEP_S)
    wanted = grid.times_us()
    out = np.empty(grid.count)
    for number in range(stretches):
        origin = grid.start_us + number * _STRETCH * US_PER_DAY
        of = (wanted >= origin) & (wanted < origin + _STRETCH * US_PER_DAY)
        out[of] = np.interp((wanted[of] - origin) / 1e6, seconds, gauge[number])
    return out


def _channel(forcing: FloatArray) -> FloatArray:
    """Return levels at the gauge for levels at the mouth, both ``(runs, steps)``: a staggered explicit scheme."""
    runs, steps = forcing.shape
    width = _LENGTH / _CELLS
    # Depth at the faces between cells; cell 0 is the mouth, the last face is the closed head.
    depth = np.linspace(10.0, 5.0, 2 * _CELLS + 1)
    at_cells, at_faces = depth[0 : 2 * _CELLS : 2], depth[1 : 2 * _CELLS - 1 : 2]
    level = np.zeros((runs, _CELLS))
    stream = np.zeros((runs, _CELLS - 1))
    out = np.empty((runs, steps))
    for step in range(steps):
        level[:, 0] = forcing[:, step]
        out[:, step] = level[:, _GAUGE]
        deep = at_faces + 0.5 * (level[:, 1:] + level[:, :-1])
        slope = (level[:, 1:] - level[:, :-1]) * (_GRAVITY / width)
        padded = np.pad(stream, ((0, 0), (1, 1)), mode="edge")
        padded[:, -1] = 0.0
        upwind = np.where(stream > 0.0, stream - padded[:, :-2], padded[:, 2:] - stream) / width
        stream = (stream - _STEP_S * (slope + stream * upwind)) / (1.0 + _STEP_S * _DRAG * np.abs(stream) / deep)
        flux = stream * deep
        level[:, 1:-1] -= _STEP_S / width * (flux[:, 1:] - flux[:, :-1])
        level[:, -1] += _STEP_S / width * flux[:, -1]
    del at_cells
    return out
