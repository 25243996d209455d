"""The kinds of jobs there are; a new one is an entry here, and the module of its work."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.jobs.currents import fit_current
from service.jobs.fitting import fit_record
from service.jobs.worker import JobOutcome, Work
from service.storage.records import JobRecord
from service.storage.unit import UnitOfWork


def keep_nothing(_unit: UnitOfWork, _job: JobRecord, _outcome: JobOutcome) -> None:
    """Keep nothing but the job itself."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of job.

    ``work`` runs in a spawned worker process: a function at the top of a module that is given plain data, reports its
    progress and returns plain data. ``keep`` writes what it found into tables of its own, in the transaction that
    ends the job. ``spooled`` names the field of the input that names an uploaded file in the spool folder, which goes
    when the job ends.
    """

    work: Work
    keep: Callable[[UnitOfWork, JobRecord, JobOutcome], None] = keep_nothing
    spooled: str | None = None


Kinds = Mapping[str, Kind]


def _keep_fit(unit: UnitOfWork, job: JobRecord, outcome: JobOutcome) -> None:
    if outcome.kept is not None:
        unit.fits.keep(job.input["fit_id"], report=outcome.kept["report"], model=outcome.kept["model"])


#: Kind by its name.
KINDS: Kinds = {"fit": Kind(fit_record, _keep_fit, spooled="fit_id"), "current_fit": Kind(fit_current)}


def spooled_name(kinds: Kinds, kind: str, given: Mapping[str, Any]) -> str | None:
    """Return the name of the uploaded file of a job in the spool folder, None where it has none."""
    known = kinds.get(kind)
    return None if known is None or known.spooled is None else str(given[known.spooled])


def remove_spooled(kinds: Kinds, folder: Path, job: JobRecord) -> None:
    """Remove the uploaded file of a job that has ended, if it has one."""
    name = spooled_name(kinds, job.kind, job.input)
    if name is not None:
        with contextlib.suppress(FileNotFoundError):
            (folder / name).unlink()
