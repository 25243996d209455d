"""A mark now: the one question that the clock answers when nobody says at which instant."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from service.security import Caller
from service.usecases.context import Context
from service.usecases.outings import OutingBasis, find_outing
from service.usecases.safety_thresholds import read_thresholds
from tidecore.errors import Fault, InvalidSpan
from tidecore.intervals import surge_of
from tidecore.safety import HazardReport, OutingFacts, Thresholds, assess, outing_span
from tidecore.timebase import TimeSpan
from tidecore.timeline.coming import Coming, coming
from tidecore.timeline.peg_plans import PegPlan, Stand, plan_pegs

#: Without an end of the session so many hours are looked at [h].
AHEAD_H = 6
#: An end of the session lies no further ahead than this [h].
MOST_AHEAD_H = 24


@dataclass(frozen=True, slots=True)
class NowBasis:
    """What a mark at an instant rests on, found before anything is computed."""

    outing: OutingBasis
    thresholds: Thresholds
    facts: OutingFacts
    surge_m: float | None
    ends: bool


@dataclass(frozen=True, slots=True)
class SurgeNow:
    """What the weather adds to the tide [m]; ``source`` says whence, ``cautions`` what must be known of it."""

    value_m: float | None
    source: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NowView:
    """A mark at an instant, what comes, what is known against being there, and the plan to the end of the session."""

    basis: NowBasis
    coming: Coming
    surge: SurgeNow
    hazards: HazardReport
    plan: PegPlan | None

    @property
    def stands(self) -> tuple[Stand | None, Stand | None]:
        """Where to stand at the instant, and the next move; None where no peg is told, or none comes."""
        if self.plan is None:
            return None, None
        now = self.coming.time_us
        bare = any(one.start_us <= now < one.end_us for one in self.plan.untold)
        here = [one for one in self.plan.stands if one.move.time_us <= now]
        later = [one for one in self.plan.stands if one.move.time_us > now]
        return (here[-1] if here and not bare else None), (later[0] if later else None)


def find_now(
    context: Context,
    caller: Caller,
    mark_id: str,
    at: datetime | None,
    until: datetime | None,
    facts: OutingFacts,
    surge_m: float | None,
) -> NowBasis:
    """Return what a mark at an instant rests on: that of the clock, to the minute, unless ``at`` says another.

    Raises
    ------
    NotFound, NoModel
        If there is no such mark, or its station has no model.
    InvalidSpan
        If the session ends before the instant, or more than a day after it.
    """
    moment = (context.clock() if at is None else at).astimezone(UTC).replace(second=0, microsecond=0)
    start = np.datetime64(moment.replace(tzinfo=None), "us")
    end = start + np.timedelta64(AHEAD_H, "h")
    if until is not None:
        ahead = until.astimezone(UTC) - moment
        if not timedelta(0) < ahead <= timedelta(hours=MOST_AHEAD_H):
            expected = f"after {moment.isoformat()} and within {MOST_AHEAD_H} h of it"
            raise InvalidSpan(Fault("until", f"is {until.isoformat()}", expected))
        end = np.datetime64(until.astimezone(UTC).replace(tzinfo=None), "us")
    told = read_thresholds(context, caller)
    given = {name: getattr(facts, name) for name in ("alone", "first_visit", "party", "pace")}
    asked = {"series": "now", "ends": until is not None, "surge_m": surge_m, "thresholds": told.state, **given}
    outing = find_outing(context, caller, mark_id, TimeSpan(start, end), asked)
    return NowBasis(outing, told.thresholds, facts, surge_m, until is not None)


def see_now(basis: NowBasis) -> NowView:
    """Return a mark at an instant and what comes; InvalidInput if the mark's offsets make no tide."""
    span, timeline = basis.outing.span, basis.outing.timeline()
    allowances = basis.thresholds.allowances(basis.facts)
    found = coming(timeline, span.start_us, span.end_us, basis.surge_m, allowances)
    surge = _surge(basis, found)
    walk_out = outing_span(timeline, span.start, span.end, basis.facts)[1]
    hazards = assess(timeline, span.start, walk_out, basis.thresholds, basis.facts)
    plan = plan_pegs(timeline, span, surge_m=basis.surge_m, allowances=allowances) if basis.ends else None
    return NowView(basis, found, surge, hazards, plan)


def _surge(basis: NowBasis, found: Coming) -> SurgeNow:
    """Return the surge given, or that of the pressure; nothing where neither is known."""
    if basis.surge_m is not None:
        return SurgeNow(basis.surge_m, "given by whoever asks", ())
    pressure = next((one for one in found.conditions if one.name == "pressure_hpa"), None)
    if pressure is None:
        return SurgeNow(None, "not assessed: neither a surge nor the pressure is known", ())
    made = surge_of(None, float(pressure.value))
    assert made is not None
    source = f"of the pressure alone, {pressure.value:g} hPa by {pressure.source}; wind is not in it"
    return SurgeNow(float(made.values), source, made.cautions)
