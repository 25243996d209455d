"""From when on a hazard is one: an account's own thresholds, and which of them it has loosened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Annotated

from pydantic import Field

from tidecore.documents import Document, Number
from tidecore.safety.outing import OutingFacts
from tidecore.shore.turning_back import Allowances

#: Thresholds that are stricter the larger they are; all others are stricter the smaller they are.
_STRICTER_LARGER = frozenset(
    {
        "peg_caution_m",
        "peg_danger_m",
        "deck_caution_m",
        "deck_danger_m",
        "sill_margin_m",
        "spare_min",
        "visibility_danger_m",
        "wind_chill_caution_c",
        "wind_chill_danger_c",
        "cold_shock_sea_c",
        "cold_hands_sea_c",
    }
)


class Thresholds(Document):
    """From when on a hazard is one. What is left out has the default, which is common practice, not truth."""

    peg_caution_m: Annotated[
        Number,
        Field(ge=0.0, le=5.0, description="Caution where R2 comes so near to the peg; the bias of the run-up formula."),
    ] = 0.17
    peg_danger_m: Annotated[
        Number,
        Field(
            ge=0.0,
            le=5.0,
            description="Danger where the largest run-up comes so near to the peg; the scatter of the formula.",
        ),
    ] = 0.38
    ledge_long_period_s: Annotated[
        Number,
        Field(
            ge=4.0, le=30.0, description="Peak period from which on a swell of the height below is a danger on rock."
        ),
    ] = 12.0
    ledge_long_period_height_m: Annotated[
        Number, Field(ge=0.1, le=10.0, description="Wave height that is a danger on rock with a long period.")
    ] = 1.0
    ledge_height_any_period_m: Annotated[
        Number, Field(ge=0.1, le=10.0, description="Wave height that is a danger on rock with any period.")
    ] = 1.5
    deck_caution_m: Annotated[
        Number,
        Field(
            ge=0.0, le=10.0, description="Caution where the highest waves come so near to the top of a deck or ledge."
        ),
    ] = 0.5
    deck_danger_m: Annotated[
        Number,
        Field(ge=0.0, le=10.0, description="Danger where the highest waves, or still water, come so near to it."),
    ] = 0.0
    pressure_surge_caution_m: Annotated[
        Number, Field(ge=0.0, le=2.0, description="Caution where low pressure alone lifts the sea by so much.")
    ] = 0.2
    gust_caution_m_per_s: Annotated[
        Number, Field(ge=1.0, le=60.0, description="Gusts that are a caution on a cliff, a ledge, a pier or a wall.")
    ] = 15.0
    gust_danger_m_per_s: Annotated[
        Number, Field(ge=1.0, le=60.0, description="Gusts that are a danger there: they take one off one's feet.")
    ] = 20.0
    shore_break_height_m: Annotated[
        Number,
        Field(
            ge=0.1, le=10.0, description="Wave height that breaks dangerously on steep shingle, with the period below."
        ),
    ] = 1.2
    shore_break_period_s: Annotated[
        Number, Field(ge=2.0, le=30.0, description="Period from which on the shore break is a danger.")
    ] = 8.0
    knee_m: Annotated[Number, Field(ge=0.1, le=1.0, description="Wave height above the knee of who wades.")] = 0.5
    sill_margin_m: Annotated[
        Number, Field(ge=0.0, le=5.0, description="A sill counts as covered when the water is so far below it.")
    ] = 0.3
    spare_min: Annotated[Number, Field(ge=0.0, le=240.0, description="Minutes to spare on the way back.")] = 10.0
    sill_survey_days: Annotated[
        Number,
        Field(ge=1.0, le=3650.0, description="A sill on sand that was surveyed longer ago is not to be relied on."),
    ] = 92.0
    sill_big_sea_m: Annotated[
        Number,
        Field(ge=0.1, le=20.0, description="A sea over this moves sand: a survey before it is not to be relied on."),
    ] = 2.5
    thunder_caution_percent: Annotated[Number, Field(ge=1.0, le=100.0, description="Probability of thunder.")] = 30.0
    visibility_danger_m: Annotated[
        Number, Field(ge=0.0, le=20_000.0, description="Visibility under which flats far from the shore are a danger.")
    ] = 500.0
    flats_from_shore_m: Annotated[
        Number, Field(ge=0.0, le=10_000.0, description="Flats further than this from the shore are far from it.")
    ] = 300.0
    cliff_rain_mm: Annotated[
        Number, Field(ge=1.0, le=500.0, description="Rain of 48 h after which a cliff is graded up, as after frost.")
    ] = 20.0
    wind_chill_caution_c: Annotated[Number, Field(ge=-60.0, le=10.0, description="Wind chill; from memory.")] = -10.0
    wind_chill_danger_c: Annotated[
        Number,
        Field(ge=-60.0, le=10.0, description="Wind chill at which skin freezes within half an hour; from memory."),
    ] = -28.0
    cold_shock_sea_c: Annotated[Number, Field(ge=-2.0, le=40.0, description="Sea under this: cold shock.")] = 15.0
    cold_hands_sea_c: Annotated[
        Number, Field(ge=-2.0, le=40.0, description="Sea under this: hands fail in minutes.")
    ] = 10.0

    def allowances(self, facts: OutingFacts) -> Allowances:
        """Return what is allowed for in turning back."""
        return Allowances(self.sill_margin_m, self.spare_min, facts.pack_up_min, facts.pace)

    @property
    def changed(self) -> tuple[str, ...]:
        """Which differ from the defaults."""
        return _differing(self)[0]

    @property
    def loosened(self) -> tuple[str, ...]:
        """Which are looser than the defaults."""
        return tuple(self.loosened_in_words)

    @property
    def loosened_in_words(self) -> Mapping[str, str]:
        """Which are looser than the defaults, and what is said of each."""
        return _differing(self)[1]

    def said(self) -> tuple[str, ...]:
        """Return in words which are looser than the defaults."""
        return tuple(self.loosened_in_words.values())


DEFAULTS = Thresholds()


def loosened_words(names: Iterable[str]) -> str:
    """Return one sentence that names the thresholds that an account has loosened, empty where it has none."""
    said = ", ".join(names)
    return f"This account has loosened {said}." if said else ""


@lru_cache(maxsize=256)
def _differing(limits: Thresholds) -> tuple[tuple[str, ...], dict[str, str]]:
    """Return which thresholds differ from the defaults, and what is said of those that are looser."""
    changed, loosened = [], {}
    for name in type(limits).model_fields:
        own, default = getattr(limits, name), getattr(DEFAULTS, name)
        if own != default:
            changed.append(name)
            if own < default if name in _STRICTER_LARGER else own > default:
                loosened[name] = f"This account has loosened {name}: {own:g} instead of {default:g}."
    return tuple(changed), loosened
