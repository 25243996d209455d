"""Two sessions beside each other, in answers."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import Field

from service.api.media import number
from service.api.v1.schemas.common import Schema
from service.api.v1.schemas.sessions import CAUTION, SessionSchema, write_session
from service.usecases.regulation_checks import RulesOnFile
from tidecore.windows import Comparison, Session
from tidecore.windows.comparison import Side


class FactorDifferenceSchema(Schema):
    """One factor in both sessions: its mean or commonest value, what it takes, and which it suits better."""

    factor: str
    unit: str
    first: float | str | None
    second: float | str | None
    first_loss: float | None
    second_loss: float | None
    better: Side


class AdvantageSchema(Schema):
    """One thing that can be better, how much of it each has, and which is better for it."""

    what: str
    unit: str
    first: float | str | None
    second: float | str | None
    better: Side


class ComparedSessions(Schema):
    """Two sessions in full, what differs factor by factor, and which is better for what."""

    numerics: int
    first: SessionSchema
    second: SessionSchema
    better: Annotated[Side, Field(description="Which is worth more, as the ranking has it.")]
    factors: list[FactorDifferenceSchema]
    advantages: list[AdvantageSchema]
    reasons: list[str]
    caution: str


def write_comparison(
    sessions: tuple[Session, Session],
    found: Comparison,
    on_file: RulesOnFile,
    numerics: int,
    zone: zoneinfo.ZoneInfo | None,
) -> dict[str, Any]:
    """Return two sessions beside each other as `ComparedSessions` has them."""
    return {
        "numerics": numerics,
        "first": write_session(sessions[0], on_file, zone),
        "second": write_session(sessions[1], on_file, zone),
        "better": found.better,
        "factors": [
            {
                "factor": one.factor,
                "unit": one.unit,
                "first": _told(one.first),
                "second": _told(one.second),
                "first_loss": number(one.first_loss, 3),
                "second_loss": number(one.second_loss, 3),
                "better": one.better,
            }
            for one in found.factors
        ],
        "advantages": [
            {
                "what": one.what,
                "unit": one.unit,
                "first": _told(one.first),
                "second": _told(one.second),
                "better": one.better,
            }
            for one in found.advantages
        ],
        "reasons": list(found.sentences),
        "caution": CAUTION,
    }


def _told(value: float | str | None) -> float | str | None:
    return value if isinstance(value, str) else number(value, 3)
