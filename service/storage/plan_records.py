"""What the repository of plans hands out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class PlanRecord:
    """A plan without its results; ``state``, ``progress``, ``problem`` and times are those of its job.

    ``stamp`` changes with everything that is shown of it.
    """

    plan_id: str
    job_id: str
    series: str
    starts_at: datetime
    ends_at: datetime
    asked: Mapping[str, Any]
    rules: Sequence[Mapping[str, Any]] | None
    supersedes: str | None
    state: str
    progress: Mapping[str, Any] | None
    problem: Mapping[str, Any] | None
    created_at: datetime
    started_at: datetime | None
    finished_at: datetime | None
    stamp: datetime


@dataclass(frozen=True, slots=True)
class PlanCounts:
    """Of the marks of a plan: how many are done so far, of those reused, failed, and other than in the plan before."""

    marks: int
    reused: int
    failed: int
    changed: int


@dataclass(frozen=True, slots=True)
class PlanMarkRecord:
    """One mark of a plan.

    ``sessions`` has of each session kept, in time order: its key, how often it changed, its arrival [min since 1970],
    what it is worth [h]. ``problem`` is why there is no result.
    """

    mark_id: str
    input_hash: str
    reused: bool
    found: int
    sessions: Sequence[tuple[str, int, int, float]]
    changes: Sequence[Mapping[str, Any]] | None
    problem: Mapping[str, Any] | None
    computed_at: datetime


@dataclass(frozen=True, slots=True)
class FeedRecord:
    """A calendar of the newest plan of a series, without anything of the secret of its token.

    ``last_used_at`` may lag, see `service.usecases.feeds`.
    """

    feed_id: str
    name: str
    series: str
    selection: Mapping[str, Any]
    prefix: str
    created_at: datetime
    last_used_at: datetime | None


@dataclass(frozen=True, slots=True)
class FeedHolder:
    """Whose a token is, and what it is held against."""

    feed_id: str
    account_id: str
    secret_hash: str
    last_used_at: datetime | None
