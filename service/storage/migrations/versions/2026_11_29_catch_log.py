"""The catch log: trips, rows of old diaries, and the regulations on file.

Revision ID: 2026_11_29_catch_log
Revises: 2026_11_28_safety_thresholds
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_29_catch_log"
down_revision = "2026_11_28_safety_thresholds"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of each and of their versions."""
    _make_trips()
    _make_diary_rows()
    _make_regulations()
    for table in ("trips", "trip_versions", "diary_rows", "diary_row_versions", "regulations", "regulation_versions"):
        isolate(op, table)


def _make_trips() -> None:
    op.create_table(
        "trips",
        sa.Column("trip_id", sa.String(length=30), nullable=False),
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("started_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("outcome", sa.String(length=12), nullable=False),
        sa.Column("method_ids", sa.Text(), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_trips_account_id_accounts")),
        sa.ForeignKeyConstraint(
            ["account_id", "mark_id"],
            ["marks.account_id", "marks.mark_id"],
            name=op.f("fk_trips_account_id_mark_id_marks"),
        ),
        sa.PrimaryKeyConstraint("trip_id", name=op.f("pk_trips")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_trips_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "trip_id", name=op.f("uq_trips_account_id_trip_id")),
    )
    op.create_index(
        op.f("ix_trips_account_id_mark_id_started_at"), "trips", ["account_id", "mark_id", "started_at"], unique=False
    )
    op.create_index(op.f("ix_trips_account_id_started_at"), "trips", ["account_id", "started_at"], unique=False)
    op.create_table(
        "trip_versions",
        sa.Column("trip_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_trip_versions_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "trip_id"],
            ["trips.account_id", "trips.trip_id"],
            name=op.f("fk_trip_versions_account_id_trip_id_trips"),
        ),
        sa.PrimaryKeyConstraint("trip_id", "version", name=op.f("pk_trip_versions")),
    )
    op.create_index(op.f("ix_trip_versions_account_id"), "trip_versions", ["account_id"], unique=False)


def _make_diary_rows() -> None:
    op.create_table(
        "diary_rows",
        sa.Column("diary_row_id", sa.String(length=30), nullable=False),
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("outcome", sa.String(length=12), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_diary_rows_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "mark_id"],
            ["marks.account_id", "marks.mark_id"],
            name=op.f("fk_diary_rows_account_id_mark_id_marks"),
        ),
        sa.PrimaryKeyConstraint("diary_row_id", name=op.f("pk_diary_rows")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_diary_rows_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "diary_row_id", name=op.f("uq_diary_rows_account_id_diary_row_id")),
    )
    op.create_index(
        op.f("ix_diary_rows_account_id_mark_id_local_day"),
        "diary_rows",
        ["account_id", "mark_id", "local_day"],
        unique=False,
    )
    op.create_table(
        "diary_row_versions",
        sa.Column("diary_row_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_diary_row_versions_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "diary_row_id"],
            ["diary_rows.account_id", "diary_rows.diary_row_id"],
            name=op.f("fk_diary_row_versions_account_id_diary_row_id_diary_rows"),
        ),
        sa.PrimaryKeyConstraint("diary_row_id", "version", name=op.f("pk_diary_row_versions")),
    )
    op.create_index(op.f("ix_diary_row_versions_account_id"), "diary_row_versions", ["account_id"], unique=False)


def _make_regulations() -> None:
    op.create_table(
        "regulations",
        sa.Column("regulation_id", sa.String(length=30), nullable=False),
        sa.Column("area", sa.String(length=200), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_regulations_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("regulation_id", name=op.f("pk_regulations")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_regulations_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "regulation_id", name=op.f("uq_regulations_account_id_regulation_id")),
    )
    op.create_index(op.f("ix_regulations_account_id_area"), "regulations", ["account_id", "area"], unique=False)
    op.create_table(
        "regulation_versions",
        sa.Column("regulation_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_regulation_versions_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "regulation_id"],
            ["regulations.account_id", "regulations.regulation_id"],
            name=op.f("fk_regulation_versions_account_id_regulation_id_regulations"),
        ),
        sa.PrimaryKeyConstraint("regulation_id", "version", name=op.f("pk_regulation_versions")),
    )
    op.create_index(op.f("ix_regulation_versions_account_id"), "regulation_versions", ["account_id"], unique=False)


def downgrade() -> None:
    """Drop them."""
    for table in ("regulation_versions", "regulations", "diary_row_versions", "diary_rows", "trip_versions", "trips"):
        op.drop_table(table)
