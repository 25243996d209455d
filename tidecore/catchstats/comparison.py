"""Two rates side by side: the exact conditional comparison."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tidecore.catchstats.poisson import check_level
from tidecore.catchstats.special import beta_below, beta_quantile
from tidecore.errors import Fault, InvalidInput

#: Most events of both together.
MOST_EVENTS = 1_000_000
#: Largest effort over the other: further apart, the share of one is 1 in floats, and nothing could be told.
MOST_UNEQUAL = 1e12


@dataclass(frozen=True, slots=True)
class RateComparison:
    """One rate over another.

    ``ratio`` is NaN where neither has an event, inf where the other has none; ``lower`` and ``upper`` are its exact
    limits at ``level``. ``p_value`` is the chance of a split as unlikely as this, or unlikelier, were the rates equal;
    ``p_greater`` of one that speaks as much, or more, for the first. ``chance`` is that the first rate is the greater,
    under a weak prior; 0.5 where nothing is known.
    """

    ratio: float
    lower: float
    upper: float
    level: float
    p_value: float
    p_greater: float
    chance: float


def compare_rates(
    count: int, effort_h: float, other_count: int, other_effort_h: float, level: float = 0.95
) -> RateComparison:
    """Return how the rate of ``count`` events in ``effort_h`` stands to another.

    Parameters
    ----------
    count, other_count : int
        Events, 0 or more, at most a million together.
    effort_h, other_effort_h : float
        Effort of each, in the same unit, above 0, neither more than 1e12 times the other.
    level : float
        Confidence of the limits.

    Raises
    ------
    InvalidInput
        With every argument that is outside its range.

    Notes
    -----
    Given their sum, the first of two Poisson counts of equal rates is binomial with its share of the effort
    (Przyborowski and Wilenski 1940). Limits after Clopper and Pearson (1934); the two-sided p-value sums splits no
    likelier than that seen. The chance has the prior of Jeffreys: half an event on each side.
    """
    check_level(level)
    _refuse(count, effort_h, other_count, other_effort_h)
    total, share = count + other_count, effort_h / (effort_h + other_effort_h)
    other_share = other_effort_h / (effort_h + other_effort_h)
    chance = chance_greater(count, effort_h, other_count, other_effort_h)
    if total == 0:
        return RateComparison(math.nan, 0.0, math.inf, level, 1.0, 1.0, chance)
    tail = 0.5 * (1.0 - level)
    low = beta_quantile(tail, count, other_count + 1.0) if count else 0.0
    high = beta_quantile(1.0 - tail, count + 1.0, other_count) if other_count else 1.0
    efforts = other_effort_h / effort_h
    return RateComparison(
        ratio=count / other_count * efforts if other_count else math.inf,
        lower=_odds(low) * efforts,
        upper=_odds(high) * efforts,
        level=level,
        p_value=_two_sided(count, total, share, other_share),
        p_greater=beta_below(count, other_count + 1.0, share) if count else 1.0,
        chance=chance,
    )


def chance_greater(count: float, effort_h: float, other_count: float, other_effort_h: float) -> float:
    """Return the chance that the first rate is the greater, with half an event more on each side as prior."""
    share = effort_h / (effort_h + other_effort_h)
    return 1.0 - beta_below(count + 0.5, other_count + 0.5, share)


def _odds(chance: float) -> float:
    return chance / (1.0 - chance) if chance < 1.0 else math.inf


def _two_sided(count: int, total: int, share: float, other_share: float) -> float:
    """Return the summed chance of all splits that are no likelier than ``count`` of ``total``."""
    ks = np.arange(total + 1)
    logs = np.concatenate(([0.0], np.cumsum(np.log(np.arange(1, total + 1)))))
    log_ways = logs[total] - logs[ks] - logs[total - ks]
    log_chance = log_ways + ks * math.log(share) + (total - ks) * math.log(other_share)
    # Splits equally likely on paper may differ in the last digits.
    return min(1.0, float(np.exp(log_chance[log_chance <= log_chance[count] + 1e-7]).sum()))


def _refuse(count: int, effort_h: float, other_count: int, other_effort_h: float) -> None:
    faults = [
        Fault(name, f"is {given}", "0 or more events")
        for name, given in (("count", count), ("other_count", other_count))
        if given < 0
    ]
    faults += [
        Fault(name, f"is {given}", "an effort above 0")
        for name, given in (("effort_h", effort_h), ("other_effort_h", other_effort_h))
        if not (math.isfinite(given) and given > 0.0)
    ]
    if not faults and max(effort_h, other_effort_h) > MOST_UNEQUAL * min(effort_h, other_effort_h):
        faults.append(
            Fault("effort_h", f"and other_effort_h are {effort_h} and {other_effort_h}", "efforts less apart")
        )
    if not faults and count + other_count > MOST_EVENTS:
        faults.append(Fault("count", f"and other_count are {count + other_count}", f"at most {MOST_EVENTS} together"))
    if faults:
        raise InvalidInput(faults)
