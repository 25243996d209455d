"""Routes of jobs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, JobId
from service.api.editing import ONCE, OnceOfDeed, respond, written
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_cursor, write_cursor
from service.api.v1.schemas.common import RETRY_AFTER, retry_after
from service.api.v1.schemas.jobs import Job, JobList, State, write_job, write_jobs
from service.usecases import jobs
from service.usecases.once import Answered
from service.usecases.records import JobRecord

router = APIRouter(prefix="/jobs", tags=["jobs"], route_class=StrictRoute)


@router.get(
    "",
    operation_id="list_jobs",
    summary="List jobs",
    response_model=JobList,
    responses=declare("cursor-invalid", "invalid-input", "unknown-name"),
)
def list_jobs(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    state: Annotated[State | None, Query(description="Only jobs in this state.", examples=["running"])] = None,
    kind: Annotated[
        str | None, Query(max_length=40, description="Only jobs of this kind, as fit.", examples=["fit"])
    ] = None,
    cursor: Cursor = None,
    limit: Limit = 100,
) -> Response:
    """List the jobs of the account in the order they were asked for, a page at a time."""
    after = read_cursor("jobs", cursor)
    page = jobs.list_jobs(context, caller, state, kind, after, check_limit(request, limit))
    return answer(write_jobs(page, write_cursor("jobs", page.after)))


@router.get(
    "/{job_id}",
    operation_id="get_job",
    summary="Read a job",
    response_model=Job,
    responses={**declare("not-found"), 200: RETRY_AFTER},
)
def get_job(job_id: JobId, caller: CallerDep, context: ContextDep) -> Response:
    """Read the state and progress of a job, and what came of it, or why it failed."""
    job = jobs.get_job(context, caller, job_id)
    return answer(write_job(job), 200, retry_after(job.state))


@router.post(
    "/{job_id}/cancel",
    operation_id="cancel_job",
    summary="Cancel a job",
    status_code=202,
    response_model=Job,
    responses={**declare("not-found", "job-ended", "store-conflict", *ONCE), 202: RETRY_AFTER},
)
def cancel_job(job_id: JobId, caller: CallerDep, context: ContextDep, once: OnceOfDeed) -> Response:
    """End a job early: one that waits ends at once, one that runs within seconds. What it had done is not kept, but
    for the rows that an import has written."""
    return respond(once.run(context, caller, lambda keep: jobs.cancel_job(context, caller, job_id, keep), _cancelled))


def _cancelled(job: JobRecord) -> Answered:
    return written(write_job(job), 202, retry_after(job.state))
