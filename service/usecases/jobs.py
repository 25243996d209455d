"""Jobs: asked for by the use cases of their kinds, read, and cancelled."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from service.errors import JobEnded, NotFound, TooManyJobs
from service.jobs.kinds import remove_spooled
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.plain import plain
from service.storage.records import CANCELLED, JobRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.kinds import KINDS
from service.usecases.once import Keep, keep_nothing
from service.usecases.page import Page, one_page
from tidecore.errors import UnknownName


def active_job(unit: UnitOfWork, kind: str, content: Mapping[str, Any]) -> JobRecord | None:
    """Return the job of the same kind and content that waits or runs, None where there is none."""
    return unit.jobs.active(kind, content_hash(content))


def queue_job(
    context: Context, unit: UnitOfWork, kind: str, content: Mapping[str, Any], given: Mapping[str, Any]
) -> JobRecord:
    """Add a job inside a unit of work that is to commit; wake the runner after that.

    Parameters
    ----------
    kind : str
        Name of a kind in `service.usecases.kinds`.
    content : Mapping
        Plain data that says whether two requests ask for the same; see `active_job`, to be asked first.
    given : Mapping
        Plain data for the work.

    Raises
    ------
    TooManyJobs
        If the account has as many jobs waiting as it may.
    StoreConflict
        If another process has queued the same meanwhile.
    """
    assert kind in KINDS, f"{kind} is no kind of job"
    if unit.jobs.active_count() >= context.settings.max_waiting_jobs:
        raise TooManyJobs(context.settings.max_waiting_jobs)
    return unit.jobs.add(kind, content_hash(content), plain(given), context.clock())


def content_hash(content: Mapping[str, Any]) -> str:
    """Return the SHA-256 of plain data, the same for the same content."""
    text = json.dumps(plain(content), sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def get_job(context: Context, caller: Caller, job_id: str) -> JobRecord:
    """Return a job; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return _find(unit, job_id)


def list_jobs(
    context: Context, caller: Caller, state: str | None, kind: str | None, after: str | None, limit: int
) -> Page[JobRecord]:
    """Return a page of jobs, those of a ``state`` and of a ``kind`` where given.

    Raises
    ------
    UnknownName
        If there is no such kind.
    """
    if kind is not None and kind not in KINDS:
        raise UnknownName("kind", kind, tuple(KINDS))
    with context.store.unit(caller.account_id) as unit:
        return one_page(lambda most: unit.jobs.page(state, kind, after, most), limit, lambda job: job.job_id)


def cancel_job(context: Context, caller: Caller, job_id: str, keep: Keep[JobRecord] = keep_nothing) -> JobRecord:
    """End a job that waits at once, and have the runner of one that runs end it; NotFound as `get_job`.

    Raises
    ------
    JobEnded
        If it has ended already.
    """
    with context.store.unit(caller.account_id, writes=True) as unit:
        job = _find(unit, job_id)
        if not unit.jobs.cancel(job_id, context.clock()):
            raise JobEnded(job_id, _find(unit, job_id).state)
        job = _find(unit, job_id)
        keep(unit, job)
        unit.commit()
    if job.state == CANCELLED:
        remove_spooled(KINDS, context.settings.spool_folder, job)
    return job


def _find(unit: UnitOfWork, job_id: str) -> JobRecord:
    job = unit.jobs.get(job_id) if is_id(job_id) else None
    if job is None:
        raise NotFound("job", job_id)
    return job
