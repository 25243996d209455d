"""Route of fits of the current at a mark."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId
from service.api.editing import ONCE, OnceDep, respond, written
from service.api.media import StrictRoute
from service.api.v1.schemas.current_fits import CurrentFitCreate
from service.api.v1.schemas.jobs import Job, write_job
from service.usecases.current_fits import request_current_fit
from service.usecases.once import Answered
from service.usecases.records import JobRecord

router = APIRouter(tags=["marks"], route_class=StrictRoute)


@router.post(
    "/marks/{mark_id}/current-fits",
    operation_id="create_current_fit",
    summary="Fit the current at a mark",
    status_code=202,
    response_model=Job,
    responses=declare(
        "not-found", "no-model", "too-many-jobs", "model-unreadable", "store-conflict", *ONCE,
        document=True,
    ),
)  # fmt: skip
def create_current_fit(
    mark_id: MarkId, body: CurrentFitCreate, caller: CallerDep, context: ContextDep, once: OnceDep
) -> Response:
    """Take a record of the current; the job's result says its axis, slack lags and rates, to be given to the mark."""
    record = body.to_record()
    return respond(
        once.run(context, caller, lambda keep: request_current_fit(context, caller, mark_id, record, keep), _taken)
    )


def _taken(job: JobRecord) -> Answered:
    return written(write_job(job), 202, {"Location": f"/v1/jobs/{job.job_id}"})
