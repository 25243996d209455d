"""Clarity and drifting weed: as seen where somebody saw it, else proxies from past seas, rain, bed, season and tide."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from tidecore.conditions import CLARITIES, WEEDS, SeaAtMark, Waters
from tidecore.place import Bed, Mark
from tidecore.timebase import US_PER_MINUTE
from tidecore.timeline.factor import Factor, pick
from tidecore.timeline.frame import Frame
from tidecore.timeline.given import NOT_GIVEN, rests_on, why_unknown
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from tidecore.timeline.sources import Sources

#: From when after a sea the water of a bed is tinged, and from when it is clear [h]; common practice.
CLEARING_H = {"rock": (12.0, 24.0), "sand": (24.0, 48.0), "mud": (72.0, 120.0)}
#: The same after 20 mm of rain in a day, in an estuary [h]; common practice.
AFTER_RAIN_H = (24.0, 72.0)
_BED_CLEARS: dict[Bed, str] = {
    "shingle": "rock",
    "broken_or_mixed": "rock",
    "rough_rock_and_kelp": "rock",
    "structure": "rock",
    "clean_sand": "sand",
    "sand_with_bars_and_gutters": "sand",
    "shingle_to_sand": "sand",
    "mussel": "sand",
    "eelgrass": "sand",
    "channel_edge": "mud",
    "mud": "mud",
}
_SLOWEST = ("mud", "sand", "rock")
#: Springs last so long on both sides of their height [days]; a convention.
SPRINGS_DAYS = 2.0
#: Torn weed drifts so long after a sea, and lies on the strand line for so long [h]; common practice, a convention.
DRIFTS_H, STRANDED_H = 96.0, 360.0
#: Weed drifts less so near to slack water [microseconds].
_AT_SLACK_US = 30 * US_PER_MINUTE
WEED_RISKS = ("low", "likely", "high")
_SEEN_RISK = np.array([0, 1, 2, 2, -1])
_CLEAR, _TINGE, _COLOURED, _THICK = range(4)


def bed_class(mark: Mark) -> str | None:
    """Return the class of bed whose water clears last: rock, sand or mud; None where no bed is stated."""
    classes = {_BED_CLEARS[bed] for bed in mark.all_beds}
    return next((name for name in _SLOWEST if name in classes), None)


def _cleared(since_h: FloatArray, known_h: FloatArray, tinged_h: float, clear_h: float) -> IntArray:
    """Return the clarity so long after what coloured the water, -1 where it may have been coloured unseen."""
    found = np.where(since_h < tinged_h, _COLOURED, np.where(since_h < clear_h, _TINGE, _CLEAR))
    found = np.where(since_h <= 0.0, _THICK, found)
    return np.where(np.isnan(since_h), np.where(known_h >= clear_h, _CLEAR, -1), found)


def _seen(frame: Frame, name: str, values: tuple[str, ...]) -> IntArray:
    """Return the places of what was seen, -1 where nothing was."""
    conditions = frame.sources.conditions
    if conditions is None or not len(conditions.pieces(name)):
        return np.full(len(frame), -1, dtype=np.int64)
    seen = conditions.at(name, frame.times_us)
    return np.select([seen == value for value in values], np.arange(len(values)), -1)


def _springs_near(frame: Frame) -> tuple[BoolArray, FloatArray]:
    """Return whether it is springs, and the days since (until, negative) the nearest; none where there is no tide."""
    sources = frame.sources
    if not sources.has_springs:
        return np.zeros(len(frame), dtype=np.bool_), np.full(len(frame), np.nan)
    days = sources.cycle.days_from_springs(frame.times_us)
    return np.abs(days) <= SPRINGS_DAYS, days


def clarity(frame: Frame) -> AnyArray:
    """Return the clarity of the water: as seen, else by the proxy."""
    seen = _seen(frame, "clarity", CLARITIES)
    sea = frame.sources.sea
    if sea is not None and (seen < 0).any():
        seen = np.where(seen >= 0, seen, _clarity_proxy(frame, sea))
    return pick(CLARITIES, seen)


def _clarity_proxy(frame: Frame, sea: SeaAtMark) -> IntArray:
    mark, times = frame.sources.mark, frame.times_us
    bed = bed_class(mark)
    if bed is None:
        return np.full(len(frame), -1, dtype=np.int64)
    past = sea.colouring
    found = _cleared(*past.told(times), *CLEARING_H[bed])
    found = np.where(sea.onshore.found(times) >= 0, found, -1)
    if bed == "mud":
        near, _ = _springs_near(frame)
        found = np.where(near & (found >= 0), np.maximum(found, _COLOURED), found)
    if mark.kind == "estuary":
        after = _cleared(*sea.wet.told(times), *AFTER_RAIN_H)
        after = np.where(sea.conditions.pieces("rain_mm_per_h").found(times) >= 0, np.minimum(after, _COLOURED), -1)
        # The worse of the two, and unknown where one of them is and may be worse.
        either = (found < 0) | (after < 0)
        found = np.where(either & (np.maximum(found, after) < _THICK), -1, np.maximum(found, after))
    return found


def _waters(sources: Sources) -> Waters | None:
    """Return what alone the clarity hangs on; over mud springs count besides, which are of the tide."""
    sea, bed = sources.sea, bed_class(sources.mark)
    return None if sea is None or bed == "mud" else sea.waters(bed, sources.mark.kind == "estuary")


def clarity_breaks(sources: Sources) -> IntArray:
    """Return the instants at which the clarity may change, but for springs."""
    sea, bed = sources.sea, bed_class(sources.mark)
    if sea is None:
        return np.empty(0, dtype=np.int64)
    found = [sea.conditions.pieces("clarity").breaks_us()]
    if bed is not None:
        found += [sea.colouring.breaks_us(*CLEARING_H[bed]), *sea.onshore.runs()]
    if bed is not None and sources.mark.kind == "estuary":
        found += [sea.wet.breaks_us(*AFTER_RAIN_H), *sea.conditions.pieces("rain_mm_per_h").runs()]
    return np.concatenate(found)


def weed_risk(frame: Frame) -> AnyArray:
    """Return how likely drifting weed is: by what was seen, else by the proxy."""
    seen = _SEEN_RISK[_seen(frame, "weed", WEEDS)]
    sea = frame.sources.sea
    return pick(WEED_RISKS, seen if sea is None else np.where(seen >= 0, seen, _weed_proxy(frame, sea)))


def _weed_proxy(frame: Frame, sea: SeaAtMark) -> IntArray:
    times = frame.times_us
    since, known = sea.tearing.told(times)
    near, days = _springs_near(frame)
    # The first springs after the sea: their height lies after it, and no more than a round of springs and neaps.
    ahead_h = since - 24.0 * days
    afloat = near & (ahead_h >= 0.0) & (ahead_h < STRANDED_H)
    found = np.where(since < DRIFTS_H, 1 + _autumn(frame), np.where(afloat, 1, 0))
    enough = known >= np.where(near, STRANDED_H + 24.0 * SPRINGS_DAYS, DRIFTS_H)
    found = np.where(np.isnan(since), np.where(enough, 0, -1), found)
    slack = _slack_near(frame.sources, times)
    found = np.where(slack & (found > 0), found - 1, found)
    return np.where(sea.onshore.found(times) >= 0, found, -1)


def _autumn(frame: Frame) -> IntArray:
    """Return 1 in the months of the first autumn gales, September and October, in the south March and April; else 0."""
    month = frame.local_times.astype("datetime64[M]").astype(np.int64) % 12 + 1
    first = 9 if frame.sources.mark.latitude >= 0.0 else 3
    return np.asarray((month == first) | (month == first + 1), dtype=np.int64)


def _slack_near(sources: Sources, times_us: IntArray) -> BoolArray:
    """Return whether the stream turns within 30 minutes; never where it is not known when it does."""
    slacks = sources.slacks_us
    if not sources.mark.flow_reliable or not slacks.size:
        return np.zeros(times_us.shape, dtype=np.bool_)
    after = np.searchsorted(slacks, times_us - _AT_SLACK_US, side="left")
    return np.asarray(slacks[np.minimum(after, slacks.size - 1)] <= times_us + _AT_SLACK_US) & (after < slacks.size)


def weed_breaks(sources: Sources) -> IntArray:
    """Return the instants at which the risk of weed may change, but for springs and months."""
    sea = sources.sea
    if sea is None:
        return np.empty(0, dtype=np.int64)
    found = [sea.conditions.pieces("weed").breaks_us(), *sea.onshore.runs()]
    found.append(sea.tearing.breaks_us(DRIFTS_H, STRANDED_H + 24.0 * SPRINGS_DAYS))
    if sources.mark.flow_reliable:
        found += [sources.slacks_us - _AT_SLACK_US, sources.slacks_us + _AT_SLACK_US + 1]
    return np.concatenate(found)


def _clarity_unknown(sources: Sources) -> str:
    """Return why the clarity is unknown for a part of a span."""
    if sources.conditions is not None and bed_class(sources.mark) is None:
        return "nobody saw it, and no bed is stated at the mark, by which the water clears"
    variables = ("wave_height_m", "rain_mm_per_h") if sources.mark.kind == "estuary" else ("wave_height_m",)
    return why_unknown(sources, variables, past="past seas or rain are not known for long enough before")


_RESTS_ON = ("wave_height_m", "clarity", "rain_mm_per_h")
_COMMON = f"{NOT_GIVEN}; common practice"

FACTORS = (
    Factor(
        "clarity",
        "sea_and_air",
        "",
        "category",
        "Clarity of the water. As seen, for 12 h; else a proxy: thick while a sea of 1.5 m or more runs on to the "
        "shore, then coloured, tinged from 12 h and clear from 24 h on over shingle, rock and structure, from 24 and "
        "48 h over sand, from 3 and 5 days over mud, by the bed that clears last; mud is coloured at least within 2 "
        "days of springs. An estuary is coloured at least in the day after 20 mm of rain in a day, tinged at least for "
        "3 days. Unknown where the bed or as much of the past is.",
        _COMMON,
        clarity,
        clarity_breaks,
        categories=CLARITIES,
        rests_on=partial(rests_on, variables=_RESTS_ON),
        why_unknown=_clarity_unknown,
        hangs_on=_waters,
    ),
    Factor(
        "weed_risk",
        "sea_and_air",
        "",
        "category",
        "How likely drifting weed is. By what was seen, for 6 h: none low, odd strand likely, more high. Else a proxy: "
        "likely from a sea of 2 m or more on to the shore until 4 days after, high if that is in September or October "
        "(in the south March or April), likely again within 2 days of the first springs after such a sea; one grade "
        "less within 30 min of slack where that is known. Unknown where as much of the past is.",
        _COMMON,
        weed_risk,
        weed_breaks,
        categories=WEED_RISKS,
        rests_on=partial(rests_on, variables=("wave_height_m", "weed")),
        why_unknown=partial(
            why_unknown, variables=("wave_height_m",), past="past seas are not known for long enough before"
        ),
    ),
)
