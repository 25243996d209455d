"""Two rates side by side, in requests and answers."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field, ValidationInfo, field_validator

from service.api.media import number
from service.api.v1.schemas.common import Schema, whole
from tidecore.catchstats import RateComparison, compare_rates
from tidecore.catchstats.comparison import MOST_EVENTS
from tidecore.documents import Document, Flaw, Number, refuse

EXAMPLE: dict[str, Any] = {"first": {"count": 7, "effort_h": 10.5}, "second": {"count": 2, "effort_h": 9.0}}


class CountedRate(Document):
    """What was counted, and in how much effort: bait-on hours or rod-hours, the same of both."""

    count: Annotated[int, Field(strict=True, ge=0, le=MOST_EVENTS), BeforeValidator(whole)]
    #: From some seconds: two of them are never further apart than can be compared.
    effort_h: Annotated[Number, Field(ge=0.001, le=1e9)]


class RateQuestion(Document):
    """Two counts with their effort."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    first: CountedRate
    second: CountedRate
    level: Annotated[Number, Field(gt=0.0, lt=1.0, description="Confidence of the limits.")] = 0.95

    @field_validator("second")
    @classmethod
    def _not_too_many(cls, second: CountedRate, info: ValidationInfo) -> CountedRate:
        first = info.data.get("first")
        if first is not None and first.count + second.count > MOST_EVENTS:
            problem = f"and first.count are {first.count + second.count} together"
            refuse(second, [Flaw(("count",), problem, f"at most {MOST_EVENTS} together")])
        return second

    def compared(self) -> RateComparison:
        """Return how the first rate stands to the second."""
        first, second = self.first, self.second
        return compare_rates(first.count, first.effort_h, second.count, second.effort_h, self.level)


class RateComparisonSchema(Schema):
    """The first rate over the second, as if every event came for itself: the exact conditional comparison."""

    ratio: Annotated[float | None, Field(description="Null where the second has no event.")]
    lower: Annotated[float, Field(description="Exact limit of the ratio (Clopper and Pearson 1934).")]
    upper: Annotated[float | None, Field(description="Null where there is none: the second has no event.")]
    level: float
    p_value: Annotated[float, Field(description="Chance of a split as unlikely, or unlikelier, were the rates equal.")]
    p_greater: Annotated[float, Field(description="Chance of one that speaks as much, or more, for the first.")]
    chance: Annotated[float, Field(description="That the first rate is the greater, under a weak prior.")]


def write_rate_comparison(found: RateComparison) -> dict[str, Any]:
    """Return a comparison as `RateComparisonSchema` has it; four digits of what may be large or small."""
    return {
        "ratio": _digits(found.ratio),
        "lower": _digits(found.lower),
        "upper": _digits(found.upper),
        "level": found.level,
        "p_value": number(found.p_value, 6),
        "p_greater": number(found.p_greater, 6),
        "chance": number(found.chance, 3),
    }


def _digits(value: float) -> float | None:
    return float(f"{value:.4g}") if math.isfinite(value) else None
