"""What the terms of a rule gave over a window, in answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.media import number
from service.api.v1.schemas.common import Schema
from tidecore.rules import Season
from tidecore.windows import Contribution, GroupContribution, UnknownTerm

Role = Literal["require", "prefer"]


class ContributionSchema(Schema):
    """What one term of the rule gave over the window."""

    factor: str
    role: Role
    mean_membership: Annotated[float | None, Field(description="0 to 1; null if the factor was never known.")]
    mean_loss: Annotated[float, Field(description="Mean fall of ln score that is due to it.")]
    path: Annotated[str, Field(description="Where it stands in the rule, as `require.0.any.1`.")]


class GroupSchema(Schema):
    """What one group of the rule gave over the window."""

    path: str
    mode: Literal["all", "any"]
    role: Role
    mean_membership: Annotated[float | None, Field(description="0 to 1; null if it was never known.")]
    mean_loss: Annotated[float, Field(description="Mean fall of ln score that is due to its members together.")]


class UnknownSchema(Schema):
    """A term whose factor was unknown, and what was done about it."""

    factor: str
    role: Role
    policy: Annotated[
        Literal["exclude", "ignore", "penalise", "decided"],
        Field(description="`decided`: other members of its group decided all the same."),
    ]
    share: Annotated[float, Field(description="Share of the time, 0 to 1.")]
    reason: str
    path: str


class SeasonSchema(Schema):
    """A season of the rule, and who says so."""

    from_: Annotated[str, Field(alias="from", description="First day, `MM-DD`.")]
    to: Annotated[str, Field(description="Last day, `MM-DD`.")]
    source: str


def write_contribution(one: Contribution) -> dict[str, Any]:
    """Return a contribution as `ContributionSchema` has it."""
    return {
        "factor": one.factor,
        "role": one.role,
        "mean_membership": number(one.mean_membership, 3),
        "mean_loss": number(one.mean_loss, 3),
        "path": one.path,
    }


def write_group(one: GroupContribution) -> dict[str, Any]:
    """Return a group as `GroupSchema` has it."""
    return {
        "path": one.path,
        "mode": one.mode,
        "role": one.role,
        "mean_membership": number(one.mean_membership, 3),
        "mean_loss": number(one.mean_loss, 3),
    }


def write_unknown(one: UnknownTerm) -> dict[str, Any]:
    """Return an unknown term as `UnknownSchema` has it."""
    return {
        "factor": one.factor,
        "role": one.role,
        "policy": one.policy,
        "share": number(one.share, 3),
        "reason": one.reason,
        "path": one.path,
    }


def write_seasons(seasons: Sequence[Season]) -> list[dict[str, str]]:
    """Return seasons as `SeasonSchema` has them."""
    return [{"from": one.from_, "to": one.to, "source": one.source} for one in seasons]
