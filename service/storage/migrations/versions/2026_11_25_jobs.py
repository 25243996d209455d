"""Long work becomes jobs: a table of them, and fits take state, lease and problem from theirs.

A fit that waited or ran is queued again, because its record lies in the spool folder; one that ended keeps its times
and its problem.

Revision ID: 2026_11_25_jobs
Revises: 2026_11_25_keys
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_jobs"
down_revision = "2026_11_25_keys"
branch_labels = None
depends_on = None

_JSON = sa.JSON(none_as_null=True)
_ACTIVE = sa.text("state IN ('queued', 'running')")

#: Names of stored errors: those of fits before -> those of jobs.
_RENAMED = {"FitInterrupted": "JobInterrupted", "FitTimedOut": "JobTimedOut", "FitBroke": "JobBroke"}

_JOBS = sa.table(
    "jobs",
    sa.column("job_id", sa.String),
    sa.column("account_id", sa.String),
    sa.column("kind", sa.String),
    sa.column("state", sa.String),
    sa.column("input_hash", sa.String),
    sa.column("input", _JSON),
    sa.column("progress", _JSON),
    sa.column("attempts", sa.Integer),
    sa.column("runner_id", sa.String),
    sa.column("lease_until", sa.DateTime),
    sa.column("cancel_requested", sa.Boolean),
    sa.column("result", _JSON),
    sa.column("problem", _JSON),
    sa.column("created_at", sa.DateTime),
    sa.column("started_at", sa.DateTime),
    sa.column("finished_at", sa.DateTime),
    sa.column("updated_at", sa.DateTime),
)
_FITS = sa.table(
    "fits",
    sa.column("fit_id", sa.String),
    sa.column("account_id", sa.String),
    sa.column("station_id", sa.String),
    sa.column("job_id", sa.String),
    sa.column("state", sa.String),
    sa.column("runner_id", sa.String),
    sa.column("lease_until", sa.DateTime),
    sa.column("options", _JSON),
    sa.column("problem", _JSON),
    sa.column("created_at", sa.DateTime),
    sa.column("started_at", sa.DateTime),
    sa.column("finished_at", sa.DateTime),
)
_STATIONS = sa.table("stations", sa.column("station_id", sa.String), sa.column("name", sa.String))


def upgrade() -> None:
    """Make the table of jobs, and a job for every fit."""
    op.create_table(
        "jobs",
        sa.Column("job_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("input_hash", sa.String(length=64), nullable=False),
        sa.Column("input", _JSON, nullable=False),
        sa.Column("progress", _JSON, nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("runner_id", sa.String(length=30), nullable=True),
        sa.Column("lease_until", sa.DateTime(), nullable=True),
        sa.Column("cancel_requested", sa.Boolean(), nullable=False),
        sa.Column("result", _JSON, nullable=True),
        sa.Column("problem", _JSON, nullable=True),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("started_at", sa.DateTime(), nullable=True),
        sa.Column("finished_at", sa.DateTime(), nullable=True),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_jobs_account_id_accounts")),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_jobs")),
        sa.UniqueConstraint("account_id", "job_id", name=op.f("uq_jobs_account_id_job_id")),
    )
    op.create_index(op.f("ix_jobs_state_job_id"), "jobs", ["state", "job_id"], unique=False)
    op.create_index(
        "uq_jobs_active",
        "jobs",
        ["account_id", "kind", "input_hash"],
        unique=True,
        sqlite_where=_ACTIVE,
        postgresql_where=_ACTIVE,
    )
    with op.batch_alter_table("fits") as fits:
        fits.add_column(sa.Column("job_id", sa.String(length=30), nullable=True))
    _add_jobs()
    with op.batch_alter_table("fits") as fits:
        fits.drop_index(op.f("ix_fits_state"))
        for name in ("state", "runner_id", "lease_until", "problem", "started_at", "finished_at"):
            fits.drop_column(name)
        fits.alter_column("job_id", existing_type=sa.String(length=30), nullable=False)
        fits.create_foreign_key(
            op.f("fk_fits_account_id_job_id_jobs"), "jobs", ["account_id", "job_id"], ["account_id", "job_id"]
        )
    op.create_index(op.f("ix_fits_account_id_job_id"), "fits", ["account_id", "job_id"], unique=False)


def _add_jobs() -> None:
    """Add the job of every fit there is, and name it there."""
    connection = op.get_bind()
    query = sa.select(
        *(column for column in _FITS.c if column.name != "job_id"), _STATIONS.c.name.label("station")
    ).join_from(_FITS, _STATIONS, _FITS.c.station_id == _STATIONS.c.station_id)
    for fit in connection.execute(query).all():
        job_id = "job_" + fit.fit_id.partition("_")[2]
        connection.execute(_JOBS.insert().values(job_id=job_id, **_job_of(fit)))
        connection.execute(_FITS.update().where(_FITS.c.fit_id == fit.fit_id).values(job_id=job_id))


def _job_of(fit: Any) -> dict[str, Any]:
    """Return the values of the job of a fit."""
    waits = fit.state in ("queued", "running")
    problem = fit.problem
    if problem is not None:
        problem = {**problem, "error": _RENAMED.get(problem.get("error"), problem.get("error"))}
    return {
        "account_id": fit.account_id,
        "kind": "fit",
        "state": "queued" if waits else fit.state,
        # Two fits of the same record may have waited; here each is work of its own.
        "input_hash": f"before jobs: {fit.fit_id}",
        "input": {"fit_id": fit.fit_id, "station": fit.station, **fit.options},
        "attempts": 0 if waits else 1,
        "cancel_requested": False,
        "result": {"fit_id": fit.fit_id} if fit.state == "done" else None,
        "problem": problem,
        "created_at": fit.created_at,
        "started_at": None if waits else fit.started_at,
        "finished_at": fit.finished_at,
        "updated_at": fit.finished_at or fit.created_at,
    }


def downgrade() -> None:
    """Give fits their own state again, and drop the jobs; a fit that was cancelled has failed then."""
    with op.batch_alter_table("fits") as fits:
        fits.add_column(sa.Column("state", sa.String(length=10), nullable=True))
        fits.add_column(sa.Column("runner_id", sa.String(length=30), nullable=True))
        fits.add_column(sa.Column("lease_until", sa.DateTime(), nullable=True))
        fits.add_column(sa.Column("problem", _JSON, nullable=True))
        fits.add_column(sa.Column("started_at", sa.DateTime(), nullable=True))
        fits.add_column(sa.Column("finished_at", sa.DateTime(), nullable=True))
    connection = op.get_bind()
    for fit in connection.execute(sa.select(_FITS.c.fit_id, _FITS.c.job_id)).all():
        job = connection.execute(sa.select(_JOBS).where(_JOBS.c.job_id == fit.job_id)).one()
        connection.execute(_FITS.update().where(_FITS.c.fit_id == fit.fit_id).values(**_state_of(job)))
    op.drop_index(op.f("ix_fits_account_id_job_id"), "fits")
    with op.batch_alter_table("fits") as fits:
        fits.drop_constraint(op.f("fk_fits_account_id_job_id_jobs"), type_="foreignkey")
        fits.drop_column("job_id")
        for name, kind in (("state", sa.String(10)), ("runner_id", sa.String(30)), ("lease_until", sa.DateTime())):
            fits.alter_column(name, existing_type=kind, nullable=False)
        fits.create_index(op.f("ix_fits_state"), ["state"], unique=False)
    op.drop_table("jobs")


def _state_of(job: Any) -> dict[str, Any]:
    """Return what a fit says of itself once it has no job."""
    problem, back = job.problem, {new: old for old, new in _RENAMED.items()}
    if job.state == "cancelled":
        problem = {"error": "FitInterrupted", "detail": "the fit was cancelled", "faults": []}
    elif problem is not None:
        problem = {**problem, "error": back.get(problem.get("error"), problem.get("error"))}
    return {
        "state": "failed" if job.state == "cancelled" else job.state,
        "runner_id": job.runner_id or "run_0",
        "lease_until": job.lease_until or job.updated_at,
        "problem": problem,
        "started_at": job.started_at,
        "finished_at": job.finished_at,
    }
