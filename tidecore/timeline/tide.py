"""Factors of the tide: the level, the stream, and where each instant stands between high and low water and springs."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline.factor import Breaks, Factor, midway, pick
from tidecore.timeline.frame import TIDE_REACH_US, in_units, since_nearest
from tidecore.timeline.phases import BASES, PHASES, named_phase, named_phase_basis, phase_breaks
from tidecore.units import AnyArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.frame import Frame
    from tidecore.timeline.frames import Frames
    from tidecore.timeline.sources import Sources

_MODEL = "the station's tide model, and the mark's offsets where it has some"
_FLOW = "rate of the station's tide model, by the mark's slack lags; without them a proxy"
_CYCLE = "daily range of the station's tide model"
_TABLES = attrgetter("tables")

#: Below this strength of flow the stream is said to be slack. A convention.
SLACK_STRENGTH = 0.1
DIRECTIONS = ("flood", "ebb", "slack")
MAKINGS = ("making", "taking_off")


def flow_strength(frame: Frame | Frames) -> FloatArray:
    """Return the magnitude of the flow index."""
    return np.abs(frame.flow_index)


def flow_reliable(frame: Frame) -> AnyArray:
    """Return whether it is known when the stream turns at the mark."""
    return np.full(len(frame), frame.sources.mark.flow_reliable, dtype=np.int8)


def direction(frame: Frame | Frames) -> AnyArray:
    """Return what the stream does."""
    index = frame.flow_index
    codes = np.where(index > 0.0, 0, 1)
    codes = np.where(np.abs(index) < SLACK_STRENGTH, 2, codes)
    return pick(DIRECTIONS, np.where(np.isnan(index), -1, codes))


def tide_phase(frame: Frame) -> FloatArray:
    """Return 0 at low water, 0.5 at high water, and on towards 1 at the next low water, linear in each half."""
    half = frame.half_tide
    passed = (frame.times_us - half.start_us) / np.maximum(half.end_us - half.start_us, 1)
    return half.masked(0.5 * passed + np.where(half.rising, 0.0, 0.5))


def fraction(frame: Frame) -> FloatArray:
    """Return the height within the range of the current half tide: 0 at its low water, 1 at its high water."""
    half = frame.half_tide
    low, high = half.low, half.high
    return (frame.height - low) / (high - low)


def tide_range(frame: Frame) -> FloatArray:
    """Return the range of the current half tide."""
    return frame.half_tide.high - frame.half_tide.low


def range_ratio(frame: Frame) -> FloatArray:
    """Return the daily range over the mean spring (tropic) range."""
    if not frame.sources.has_springs:
        return np.full(len(frame), np.nan)
    return frame.sources.cycle.daily_range_at(frame.times_us) / frame.sources.model.mean_spring_range


def days_from_springs(frame: Frame) -> FloatArray:
    """Return the days since the nearest springs, negative before them."""
    if not frame.sources.has_springs:
        return np.full(len(frame), np.nan)
    return frame.sources.cycle.days_from_springs(frame.times_us)


def making(frame: Frame) -> AnyArray:
    """Return whether the daily range grows or shrinks."""
    if not (frame.sources.has_springs and frame.sources.cycle.springs_us.size):
        return pick(MAKINGS, np.full(len(frame), -1))
    return pick(MAKINGS, np.where(frame.sources.cycle.making(frame.times_us), 0, 1))


def _at_turns(sources: Sources) -> IntArray:
    return sources.turns.times_us


def _at_extremes(sources: Sources) -> IntArray:
    return sources.extremes.times_us()


def _at_slacks(sources: Sources) -> IntArray:
    return np.concatenate((sources.slack_points_us, sources.turns.times_us))


def _from_hw(sources: Sources) -> IntArray:
    return np.concatenate((sources.turns.times_us, midway(sources.turns.high_us)))


def _from_lw(sources: Sources) -> IntArray:
    return np.concatenate((sources.turns.times_us, midway(sources.turns.low_us)))


def _springs(sources: Sources) -> IntArray:
    return midway(np.rint(sources.cycle.springs_us).astype(np.int64)) if sources.has_springs else np.empty(0, np.int64)


def _slacks_after(sources: Sources, high: bool) -> IntArray:
    """Return when the stream turns after the high (low) waters, nothing where it is not known."""
    return sources.slacks_us[sources.turns.high == high] if sources.lags is not None else np.empty(0, dtype=np.int64)


def _from_slack(frame: Frame, high: bool) -> FloatArray:
    """Return the time since the nearest slack after high (low) water [min], negative before it."""
    since = since_nearest(frame.times_us, _slacks_after(frame.sources, high), TIDE_REACH_US)
    return frame.where_tide(in_units(since, US_PER_MINUTE))


def _slack_breaks(sources: Sources, high: bool) -> IntArray:
    return np.concatenate((sources.turns.times_us, midway(_slacks_after(sources, high))))


def _minutes_from_slack(name: str, called: str, high: bool) -> Factor:
    return _number(
        f"minutes_from_slack_after_{name}",
        "min",
        f"Time since the nearest turn of the stream after {called} water, negative before it; unknown without lags.",
        partial(_from_slack, high=high),
        partial(_slack_breaks, high=high),
        "the station's tide model and the mark's slack lags",
        of_the_stream=True,
    )


def _number(
    name: str,
    unit: str,
    meaning: str,
    compute: Callable[[Frame], AnyArray],
    breaks: Breaks | None = None,
    provenance: str = _MODEL,
    period: float | None = None,
    of_the_stream: bool = False,
    together: Callable[[Frames], AnyArray] | None = None,
) -> Factor:
    return Factor(
        name,
        "tide",
        unit,
        "number",
        meaning,
        provenance,
        compute,
        breaks,
        period=period,
        of_the_stream=of_the_stream,
        hangs_on=None if of_the_stream else _TABLES,
        together=together,
    )


FACTORS = (
    _number(
        "height",
        "m",
        "Height of the tide at the mark, above the datum of the answer.",
        attrgetter("height"),
        _at_extremes,
    ),
    _number("rate", "m/h", "Rate at which the tide rises; falling is negative.", attrgetter("rate")),
    _number(
        "flow_index",
        "1",
        "Run of the tide, flood positive, ebb negative; 1 is the mean spring (tropic) peak of the station.",
        attrgetter("flow_index"),
        _at_slacks,
        _FLOW,
        of_the_stream=True,
        together=attrgetter("flow_index"),
    ),
    _number(
        "flow_strength",
        "1",
        "Magnitude of the flow index.",
        flow_strength,
        _at_slacks,
        _FLOW,
        of_the_stream=True,
        together=flow_strength,
    ),
    _number(
        "stream_speed",
        "m/s",
        "Speed of the stream, flood positive, ebb negative; unknown where the mark has no rates of its stream.",
        attrgetter("stream_speed"),
        _at_slacks,
        "the mark's spring and neap rates, scaled by the daily range; within the tide as the flow index",
        of_the_stream=True,
    ),
    Factor(
        "flow_reliable",
        "tide",
        "",
        "boolean",
        "Whether it is known when the stream turns at the mark; if not, the flow is a proxy that may be hours out.",
        "the mark's slack lags",
        flow_reliable,
    ),
    Factor(
        "direction",
        "tide",
        "",
        "category",
        f"What the stream does: flood, ebb, or slack where its strength is under {SLACK_STRENGTH:g} (a convention).",
        _FLOW,
        direction,
        _at_slacks,
        categories=DIRECTIONS,
        of_the_stream=True,
        together=direction,
    ),
    _number(
        "tide_phase",
        "1",
        "0 at low water, 0.5 at high water, 1 at the next low water, linear in time in each half.",
        tide_phase,
        _at_turns,
        period=1.0,
    ),
    _number(
        "hours_from_hw",
        "h",
        "Time since the nearest primary high water, negative before it; a tie counts as after.",
        attrgetter("hours_from_hw"),
        _from_hw,
    ),
    _number(
        "hours_from_lw",
        "h",
        "Time since the nearest primary low water, negative before it; a tie counts as after.",
        attrgetter("hours_from_lw"),
        _from_lw,
    ),
    _minutes_from_slack("hw", "high", True),
    _minutes_from_slack("lw", "low", False),
    _number(
        "height_of_hw",
        "m",
        "Height of the high water that bounds the current flood or ebb, above the datum of the answer.",
        attrgetter("half_tide.high"),
        _at_turns,
    ),
    _number(
        "height_of_lw",
        "m",
        "Height of the low water that bounds the current flood or ebb, above the datum of the answer.",
        attrgetter("half_tide.low"),
        _at_turns,
    ),
    _number(
        "fraction",
        "1",
        "Height within the range of the current half tide: 0 at its low water, 1 at its high water.",
        fraction,
        _at_extremes,
    ),
    _number(
        "range",
        "m",
        "Height of the high water less the height of the low water that bound the current flood or ebb.",
        tide_range,
        _at_turns,
    ),
    _number(
        "range_ratio",
        "1",
        "Daily range (24 h 50 min, mean of three days) over the mean spring (tropic) range of the station.",
        range_ratio,
        provenance=_CYCLE,
    ),
    _number(
        "days_from_springs",
        "d",
        "Time since the nearest springs (tropic tides), negative before them.",
        days_from_springs,
        _springs,
        _CYCLE,
    ),
    Factor(
        "making",
        "tide",
        "",
        "category",
        "Whether the daily range grows (making) or shrinks (taking off).",
        _CYCLE,
        making,
        categories=MAKINGS,
        hangs_on=_TABLES,
    ),
    Factor(
        "named_phase",
        "tide",
        "",
        "category",
        "Phase of the tide as anglers name it (common practice); named_phase_basis says by what.",
        f"{_MODEL}; the mark's slack lags where known",
        named_phase,
        phase_breaks,
        categories=PHASES,
    ),
    Factor(
        "named_phase_basis",
        "tide",
        "",
        "category",
        "Whether the phase is named by the stream or, without slack lags, by the level.",
        "the mark's slack lags",
        named_phase_basis,
        _at_turns,
        categories=BASES,
    ),
)
