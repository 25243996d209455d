"""Jobs in answers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema, WorkProblem, write_problem
from service.usecases.page import Page
from service.usecases.records import JobRecord

State = Literal["queued", "running", "done", "failed", "cancelled"]


class JobProgress(Schema):
    """How far a job is."""

    done: int
    total: Annotated[int | None, Field(description="Of how much; null where that is not known.")]
    note: Annotated[str, Field(description="What it is busy with.")]


class Job(Schema):
    """Long work, from request to end."""

    id: str
    kind: Annotated[str, Field(description="What is done, as fit.")]
    state: State
    progress: Annotated[JobProgress | None, Field(description="As the work last said it; null before that.")]
    attempts: Annotated[int, Field(description="How often it was begun; an interrupted job is begun three times.")]
    cancel_requested: bool
    result: Annotated[
        dict[str, Any] | None,
        Field(description="What came of it: its fit_id, import_id or plan_id, or what a fit of the current found."),
    ]
    problem: WorkProblem | None
    created_at: InstantText
    started_at: InstantText | None
    finished_at: InstantText | None
    updated_at: InstantText


class JobList(Schema):
    """A page of jobs."""

    items: list[Job]
    next_cursor: str | None


def write_job(record: JobRecord) -> dict[str, Any]:
    """Return a job as `Job` has it."""
    return {
        "id": record.job_id,
        "kind": record.kind,
        "state": record.state,
        "progress": None if record.progress is None else dict(record.progress),
        "attempts": record.attempts,
        "cancel_requested": record.cancel_requested,
        "result": None if record.result is None else dict(record.result),
        "problem": write_problem(record.problem),
        "created_at": write_instant(record.created_at),
        "started_at": None if record.started_at is None else write_instant(record.started_at),
        "finished_at": None if record.finished_at is None else write_instant(record.finished_at),
        "updated_at": write_instant(record.updated_at),
    }


def write_jobs(page: Page[JobRecord], cursor: str | None) -> dict[str, Any]:
    """Return a page as `JobList` has it."""
    return {"items": [write_job(record) for record in page.items], "next_cursor": cursor}
