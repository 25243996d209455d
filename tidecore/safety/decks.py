"""Hazards of standing above the water: whether it comes over a pier, a wall, a quay or a ledge."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tidecore.safety.line import COMMON, Line
from tidecore.safety.looking import Look
from tidecore.safety.outing import OutingFacts
from tidecore.safety.thresholds import Thresholds
from tidecore.shore.dangers import CAUTION, DANGER, NONE, NOT_ASSESSED, overtopped
from tidecore.shore.setting import NO_ZERO

#: Where one stands above the water, and what that is called.
_DECKS = {"rock_ledge": "this ledge", "pier_or_wall": "this pier or wall", "harbour": "this quay"}
_SOURCE = f"the level that 95 % of waters stay under, the highest wave of an outing by Rayleigh; {COMMON}"


def deck_lines(look: Look, limits: Thresholds, facts: OutingFacts) -> Iterator[Line]:
    """Yield whether water comes over what is stood on; where how high that is is not known, that it is not assessed."""
    mark, setting = look.sources.mark, look.sources.setting
    place = _DECKS.get(mark.kind)
    if place is None:
        return
    missing = ["how high it stands is not known"] if mark.ledge_height_m is None else []
    missing += [NO_ZERO] if np.isnan(setting.zero_m) else []
    if mark.ledge_height_m is None or missing:
        why = "; ".join(missing)
        said = f"Whether waves or the tide come over {place} is not assessed: {why}. Where it is wet they do: stay off."
        yield Line("overtopping", np.full(len(look), NOT_ASSESSED, dtype=np.int8), {NOT_ASSESSED: said}, "the mark")
        return
    sea = look.sea
    codes, margin = overtopped(
        mark.ledge_height_m,
        look.upper + look.surge(facts),
        sea.waves.height,
        sea.reaches,
        (limits.deck_caution_m, limits.deck_danger_m),
    )
    if mark.kind != "harbour":
        # That the sea is not known is said already.
        no_sea = (codes == NOT_ASSESSED) & np.isnan(sea.waves.height) & ~np.isnan(look.upper)
        codes = np.where(no_sea, NONE, codes).astype(np.int8)
    yield Line(
        "overtopping",
        codes,
        {
            CAUTION: f"From {{since}} to {{over}} the highest waves can come to {{beside}} the top of {place}: stand "
            "back from the edge, and leave as soon as it gets wet.",
            NOT_ASSESSED: f"Whether waves come over {place} from {{since}} to {{until}} is not assessed: the sea is "
            "not known, or not whether it comes here.",
            DANGER: f"Water can come over {place} from {{since}} to {{over}}, to {{beside}} its top: stay off it; it "
            "sweeps people away.",
        },
        _SOURCE,
        {CAUTION: margin, DANGER: margin},
        {CAUTION: limits.deck_caution_m, DANGER: limits.deck_danger_m},
        "m",
        least_is_worst=True,
    )
