"""Two sessions beside each other: what differs factor by factor, and which is better for what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tidecore.safety import WEIGHT
from tidecore.timebase import US_PER_HOUR
from tidecore.timeline.called import factor_words
from tidecore.windows.session import FactorSummary, Session
from tidecore.windows.wording import day_and_clock, listed

Side = Literal["first", "second", "neither"]

#: Differences smaller than this part of the larger are none.
_ALIKE = 0.05
_FISHABLE = {"yes": 0, "unknown": 1, "hard": 2, "no": 3}


@dataclass(frozen=True, slots=True)
class FactorDifference:
    """One factor in both sessions: its mean (or commonest value), what it takes, and for which it suits better.

    ``first_loss`` and ``second_loss`` are the mean falls of ln score due to it, over the rules that both fish for,
    added up; None where they share no rule that names it.
    """

    factor: str
    unit: str
    first: float | str | None
    second: float | str | None
    first_loss: float | None
    second_loss: float | None
    better: Side


@dataclass(frozen=True, slots=True)
class Advantage:
    """One thing that can be better: what, how much of it each session has, and which is better for it."""

    what: str
    unit: str
    first: float | str | None
    second: float | str | None
    better: Side


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two sessions compared: factor by factor, for what each is better, and the same in sentences.

    ``better`` is the one that is worth more as the ranking has it; ``neither`` where they are alike.
    """

    better: Side
    factors: tuple[FactorDifference, ...]
    advantages: tuple[Advantage, ...]
    sentences: tuple[str, ...]


def compare_sessions(first: Session, second: Session) -> Comparison:
    """Return what sets two sessions apart.

    Factors are those that the rules of either name; differences under a twentieth of the larger count as none.
    """
    factors = _factors(first, second)
    advantages = _advantages(first, second)
    better = next(one.better for one in advantages if one.what == "score_hours")
    return Comparison(better, factors, advantages, _sentences(first, second, factors, advantages))


def _larger(first: float, second: float) -> Side:
    if abs(first - second) <= _ALIKE * max(abs(first), abs(second)):
        return "neither"
    return "first" if first > second else "second"


def _smaller(first: float, second: float) -> Side:
    return _larger(-first, -second)


def _told(summaries: Mapping[str, list[FactorSummary]], name: str) -> tuple[str, float | str | None]:
    """Return unit and value of a factor over all the legs of a session."""
    found = summaries.get(name, [])
    means = [one.mean for one in found if one.mean is not None]
    if means:
        return found[0].unit, float(np.mean(means))
    return (found[0].unit if found else ""), next((one.commonest for one in found if one.commonest is not None), None)


def _factors(first: Session, second: Session) -> tuple[FactorDifference, ...]:
    summaries: list[dict[str, list[FactorSummary]]] = []
    for session in (first, second):
        found: dict[str, list[FactorSummary]] = {}
        for leg in session.legs:
            for summary in leg.factors:
                found.setdefault(summary.factor, []).append(summary)
        summaries.append(found)
    shared = {one.rule for one in first.rules} & {one.rule for one in second.rules}
    losses = [_losses(session, shared) for session in (first, second)]
    differences = []
    for name in sorted({*summaries[0], *summaries[1]}):
        (unit, one), (other_unit, other) = (_told(found, name) for found in summaries)
        taken, other_taken = losses[0].get(name), losses[1].get(name)
        better: Side = "neither"
        if taken is not None and other_taken is not None and abs(taken - other_taken) > _ALIKE:
            better = "first" if taken < other_taken else "second"
        differences.append(FactorDifference(name, unit or other_unit, one, other, taken, other_taken, better))
    return tuple(differences)


def _losses(session: Session, rules: set[str]) -> dict[str, float]:
    found: dict[str, float] = {}
    for account in session.rules:
        if account.rule in rules:
            for one in account.factors:
                found[one.factor] = found.get(one.factor, 0.0) + one.mean_loss
    return found


def _advantages(first: Session, second: Session) -> tuple[Advantage, ...]:
    both = (first, second)

    def more(what: str, unit: str, values: list[float]) -> Advantage:
        return Advantage(what, unit, values[0], values[1], _larger(*values))

    def less(what: str, unit: str, values: list[float]) -> Advantage:
        return Advantage(what, unit, values[0], values[1], _smaller(*values))

    found = [
        more("score_hours", "h", [one.score_hours for one in both]),
        more("best_hour", "1", [one.best_hour.mean_score for one in both]),
        more("fishing", "h", [one.fishing_h for one in both]),
        less("travel", "h", [(one.outing.there_us + one.outing.back_us) / US_PER_HOUR for one in both]),
        less("lulls", "h", [sum(float((gap.end - gap.start) / _HOUR) for gap in one.lulls) for one in both]),
        less("unknowns", "1", [float(len(one.unknowns)) for one in both]),
    ]
    hours = [_species(one) for one in both]
    for species in sorted({*hours[0], *hours[1]}):
        found.append(more(f"species {species}", "h", [one.get(species, 0.0) for one in hours]))
    for what, order in (("fishable", _FISHABLE), ("safe", WEIGHT)):
        grades = [getattr(one.verdicts, what).grade for one in both]
        places = [order[grade] for grade in grades]
        better: Side = "neither" if places[0] == places[1] else ("first" if places[0] < places[1] else "second")
        found.append(Advantage(what, "", grades[0], grades[1], better))
    return tuple(found)


_HOUR = np.timedelta64(1, "h")


def _species(session: Session) -> dict[str, float]:
    """Return what a session gives each species [h]: at each mark that of its best rule."""
    found: dict[str, float] = {}
    for leg in session.legs:
        here: dict[str, float] = {}
        for one in leg.rules:
            here[one.species] = max(one.score_hours, here.get(one.species, 0.0))
        for species, hours in here.items():
            found[species] = found.get(species, 0.0) + hours
    return found


def _sentences(
    first: Session,
    second: Session,
    factors: tuple[FactorDifference, ...],
    advantages: tuple[Advantage, ...],
) -> tuple[str, ...]:
    names = {"first": _name(first), "second": _name(second)}
    said = []
    for one in advantages:
        values = f"{_value(one.first, one.unit)} against {_value(one.second, one.unit)}"
        if one.what == "score_hours":
            said.append(
                f"They are worth about the same: {values} of score."
                if one.better == "neither"
                else f"{names[one.better]} is worth more: {values} of score."
            )
        elif one.what == "safe" and one.better != "neither":
            said.append(f"Less is known against {names[one.better]}: {values}; neither is said to be safe.")
        elif one.what == "unknowns" and one.better != "neither":
            said.append(f"Of {names[one.better]} less is unknown: {one.first:.0f} against {one.second:.0f} things.")
        elif one.better != "neither":
            what = one.what.removeprefix("species ").replace("_", " ")
            said.append(f"For {what} {names[one.better]} is better: {values}.")
    for factor in factors:
        if factor.better != "neither":
            values = f"{_value(factor.first, factor.unit)} against {_value(factor.second, factor.unit)}"
            said.append(f"The {factor_words(factor.factor)} suits {names[factor.better]} better: {values}.")
    unknown = listed(factor_words(name) for name in _unknown(first) | _unknown(second))
    if unknown:
        said.append(f"Not known for one or both, so it decides nothing: {unknown}.")
    return tuple(said)


def _unknown(session: Session) -> dict[str, None]:
    return dict.fromkeys(one.factor for one in session.unknowns)


def _name(session: Session) -> str:
    when = day_and_clock(session.legs[0].mark.zone, session.outing.arrive_us)
    return f"{' and '.join(leg.mark.name for leg in session.legs)} at {when}"


def _value(value: float | str | None, unit: str) -> str:
    if value is None:
        return "unknown"
    if isinstance(value, str):
        return value.replace("_", " ")
    return f"{value:.2f}" + ("" if unit in ("", "1") else f" {unit}")
