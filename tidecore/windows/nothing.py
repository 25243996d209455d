"""Why no outing to a mark came of a search, in sentences."""

from __future__ import annotations

import numpy as np

from tidecore.calendars import clipped, merged
from tidecore.timebase import US_PER_HOUR
from tidecore.timeline.called import factor_words
from tidecore.units import IntArray
from tidecore.windows.curves import MarkSearch, RuleCurve
from tidecore.windows.options import SessionOptions
from tidecore.windows.outings import stays
from tidecore.windows.scoring import ROUNDING
from tidecore.windows.search import TermReport, explain
from tidecore.windows.wording import day_and_clock, hours_words, short_score


def explain_no_outings(
    search: MarkSearch, options: SessionOptions, free_us: IntArray | None = None, travel_min: float = 0.0
) -> tuple[str, ...]:
    """Return why `find_outings` found none; the arguments are those it was given."""
    name = search.timeline.mark.name
    if not search.curves:
        return (f"{name}: no rule accepts the ground here.",)
    windows = sum(len(one.windows_us) for one in search.curves)
    if not windows:
        return (f"{name}: no rule has a window in the span.", *_nearest(search))
    there = stays(search, free_us, travel_min, travel_min)
    said = [f"{name}: {windows} window{'s' if windows > 1 else ''} of the rules in the span."]
    said += search.care.said(search.timeline)
    if not len(there):
        said.append("None of the span is free, with time for the way, open access and no danger.")
        return tuple(said)
    longest = float((there[:, 1] - there[:, 0]).max()) / US_PER_HOUR
    if longest < options.least_h:
        said.append(
            f"The longest stay that free time, the way and access leave is {hours_words(longest)}; a session lasts at "
            f"least {hours_words(options.least_h)}."
        )
        return tuple(said)
    spans = merged(np.concatenate([one.windows_us for one in search.curves]))
    inside = [
        row for row in there.tolist() if len(clipped(spans, row[0] + options.set_up_us, row[1] - options.pack_up_us))
    ]
    if inside:
        said.append(
            f"What of them lies in free time with open access is in stays under {hours_words(options.least_h)}."
        )
    else:
        said.append("None of them lies in free time with open access, after setting up and before packing up.")
    return tuple(said)


def _nearest(search: MarkSearch) -> tuple[str, ...]:
    """Return what keeps the rule that comes nearest from a window: the requirement that suits for the least time.

    Nothing where that is none of the rule's doing, or the span holds no instant of the timeline.
    """
    one = min(search.curves, key=lambda one: (-float(one.score.values.max()), one.key))
    rule, terms = one.rule, explain(one.rule, search.timeline).terms
    # Of a group no single term stands in the way.
    leaves = [node.leaf for node in rule.tree.require if node.mode == "term" and node.leaf is not None]
    gates = [terms[leaf] for leaf in leaves if terms]
    least = min(gates, key=lambda gate: (gate.met_share, gate.best_membership or 0.0, gate.path), default=None)
    said = [_score(one, search)] if terms else []
    if least is not None and least.met_share < 1.0:
        said.append(_gate(least, rule.threshold))
    said = [part for part in said if part]
    return ("; ".join([f"{rule.name} comes nearest", *said]) + ".",) if said else ()


def _score(one: RuleCurve, search: MarkSearch) -> str:
    curve, needed = one.score, one.rule.threshold
    best = int(np.argmax(curve.values))
    score, when = float(curve.values[best]), day_and_clock(search.timeline.mark.zone, int(curve.times_us[best]))
    if score >= needed - ROUNDING:
        return f"it holds at {when}, but not for the {one.rule.minimum_duration_min:g} min that make a window"
    return f"its score is {short_score(score)} at best, at {when}, and {needed:.2f} is needed" if score > 0.0 else ""


def _gate(one: TermReport, needed: float) -> str:
    name = factor_words(one.factor)
    if one.best_membership is None:
        return f"the {name} is not known"
    if one.met_share > 0.0:
        return f"the {name} suits for {one.met_share:.0%} of the span, the least of what it requires"
    return f"the {name} never suits: at best {one.best_membership:.2f} of {needed:.2f} needed"
