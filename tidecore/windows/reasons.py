"""Why a session: what an angler would say to another, by the clocks of the mark."""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence

import numpy as np

from tidecore.timeline import KeyTime
from tidecore.timeline.called import factor_words
from tidecore.windows.outings import Outing
from tidecore.windows.session import SessionLeg
from tidecore.windows.verdicts import Verdicts
from tidecore.windows.window import BestHour
from tidecore.windows.wording import clock, day_and_clock, hours_words, listed

_HOUR = np.timedelta64(1, "h")
#: What is unknown for more of the time than this is unknown for all of it.
_ALL = 0.995
#: Of a quantity of sea and air that nothing tells, before why.
_NOT_ASSESSED = " not assessed"
#: A rule that gives less than this part of what the best one gives is only named.
_TOLD_PART = 0.25
_TOLD = {
    "high_water": "high water",
    "low_water": "low water",
    "slack_after_hw": "slack after high water",
    "slack_after_lw": "slack after low water",
    "sunrise": "sunrise",
    "sunset": "sunset",
    "first_light": "first light",
    "last_light": "last light",
}


def session_reasons(
    outing: Outing,
    legs: Sequence[SessionLeg],
    best: BestHour,
    verdicts: Verdicts,
    said_besides: Sequence[str],
) -> tuple[str, ...]:
    """Return the sentences of a session: where and when, for what, what happens, what is against it or unknown."""
    zone = legs[0].mark.zone
    said = [sentence for leg in legs for sentence in _stay(leg)]
    if len(legs) > 1:
        hours = float((legs[1].arrive - legs[0].leave) / _HOUR)
        said.insert(1, f"Then {legs[1].mark.name}, {hours_words(hours)} by road: both fit into one outing.")
    said.append(f"The best is from {_clock(zone, best.start)} to {_clock(zone, best.end)}.")
    if outing.there_us or outing.back_us:
        away, home = outing.arrive_us - outing.there_us, outing.leave_us + outing.back_us
        said.append(f"Leave home at {clock(zone, away)}, be back at {clock(zone, home)}.")
    said += said_besides
    said += _unknown(legs)
    said += verdicts.fishable.reasons
    said += verdicts.safe.reasons
    return tuple(said)


def _stay(leg: SessionLeg) -> list[str]:
    zone = leg.mark.zone
    said = [
        f"{leg.mark.name}: arrive {_day(zone, leg.arrive)}, fish {_clock(zone, leg.start)} to {_clock(zone, leg.end)}, "
        f"leave {_clock(zone, leg.leave)}."
    ]
    accounts = sorted(leg.rules, key=lambda one: (-round(one.score_hours, 9), one.rule))
    least = _TOLD_PART * max((one.score_hours for one in accounts), default=0.0)
    for account in accounts:
        if account.score_hours < least:
            continue
        limited = ""
        if account.limiting_factor is not None:
            limited = f"; what takes most from it is the {factor_words(account.limiting_factor)}"
        worth = f"worth {account.score_hours:.1f} h at full score, {account.mean_score:.2f} on average"
        said.append(f"{account.name}: {worth}{limited}.")
    little = [account.name for account in accounts if account.score_hours < least]
    if little:
        said.append(f"A little of it is for {listed(little)}.")
    for lull in leg.lulls:
        cause = "" if lull.factor is None else f" for the {factor_words(lull.factor)}"
        minutes = hours_words(float((lull.end - lull.start) / _HOUR))
        said.append(
            f"From {_clock(zone, lull.start)} a lull of {minutes}{cause}: sit it out, it is no reason to pack up."
        )
    told = [_key_time(zone, event) for event in leg.key_times if event.kind in _TOLD]
    if told:
        said.append(f"While there: {listed(told)}.")
    return said


def _key_time(zone: zoneinfo.ZoneInfo, event: KeyTime) -> str:
    height = "" if event.height is None else f" ({event.height:.1f} m)"
    return f"{_TOLD[event.kind]} {_clock(zone, event.time)}{height}"


def _unknown(legs: Sequence[SessionLeg]) -> list[str]:
    """Return what is unknown in words, with what was made of it: the factors of one reason together."""
    done = {
        "exclude": "no time counts without it",
        "ignore": "left out of the score",
        "penalise": "marked down for it",
        "decided": "decided by the rest of the rule",
    }
    found: dict[tuple[str, str], tuple[dict[str, None], dict[str, None]]] = {}
    for leg in legs:
        for account in leg.rules:
            for one in account.unknowns:
                how = "" if one.share > _ALL else f" (for {one.share:.0%} of the time)"
                # One cause of several quantities is told once, with all of them.
                quantity, missing, cause = one.reason.partition(_NOT_ASSESSED)
                key = (missing + cause if missing else one.reason, done[one.policy])
                names, quantities = found.setdefault(key, ({}, {}))
                names[factor_words(one.factor) + how] = None
                if missing:
                    quantities[quantity] = None
    return [
        f"Not known and {made}: {listed(sorted(names))}. Why: {listed(sorted(quantities))}{cause.rstrip('.')}."
        for (cause, made), (names, quantities) in sorted(found.items())
    ]


def _clock(zone: zoneinfo.ZoneInfo, time: np.datetime64) -> str:
    return clock(zone, int(time.astype(np.int64)))


def _day(zone: zoneinfo.ZoneInfo, time: np.datetime64) -> str:
    return day_and_clock(zone, int(time.astype(np.int64)))
