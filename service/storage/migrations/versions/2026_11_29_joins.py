"""Trips joined to the tide, counts of them by factor and bin, and sums of trips and diary rows.

The new columns of trips and diary rows sum up their documents, which rows written before have not been asked: the
tables are of the revision before, of the same release.

Revision ID: 2026_11_29_joins
Revises: 2026_11_29_catch_log
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate

revision = "2026_11_29_joins"
down_revision = "2026_11_29_catch_log"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables of joins and of their counts, and the columns of sums."""
    with op.batch_alter_table("trips") as batch:
        batch.add_column(sa.Column("purpose", sa.String(length=10), nullable=False, server_default="pleasure"))
        batch.add_column(sa.Column("why_not", sa.String(length=12), nullable=True))
        batch.add_column(sa.Column("raw_us", sa.BigInteger(), nullable=True))
        batch.add_column(sa.Column("bait_on_us", sa.BigInteger(), nullable=True))
        batch.add_column(sa.Column("uncast_us", sa.BigInteger(), nullable=True))
        batch.add_column(sa.Column("caught", sa.Text(), nullable=False, server_default=sa.text("''")))
        batch.add_column(sa.Column("bests", sa.Text(), nullable=False, server_default=sa.text("''")))
    with op.batch_alter_table("diary_rows") as batch:
        batch.add_column(sa.Column("why_not", sa.String(length=12), nullable=True))
        batch.add_column(sa.Column("coarse_us", sa.BigInteger(), nullable=True))
        batch.add_column(sa.Column("caught", sa.Text(), nullable=False, server_default=sa.text("''")))
    _make_joins()
    _make_facts()
    for table in ("trip_joins", "trip_facts"):
        isolate(op, table)


def _make_joins() -> None:
    op.create_table(
        "trip_joins",
        sa.Column("trip_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("trip_version", sa.Integer(), nullable=False),
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("mark_version", sa.Integer(), nullable=False),
        sa.Column("station_id", sa.String(length=30), nullable=False),
        sa.Column("station_version", sa.Integer(), nullable=False),
        sa.Column("stamp", sa.String(length=20), nullable=False),
        sa.Column("conditions", sa.Integer(), nullable=False),
        sa.Column("conditions_hash", sa.String(length=64), nullable=False),
        sa.Column("stale", sa.Boolean(), nullable=False),
        sa.Column("started_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=False),
        sa.Column("joined_at", sa.DateTime(), nullable=False),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_trip_joins_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "trip_id"],
            ["trips.account_id", "trips.trip_id"],
            name=op.f("fk_trip_joins_account_id_trip_id_trips"),
        ),
        sa.PrimaryKeyConstraint("trip_id", name=op.f("pk_trip_joins")),
        sa.UniqueConstraint("account_id", "trip_id", name=op.f("uq_trip_joins_account_id_trip_id")),
    )
    op.create_index(
        "ix_trip_joins_rests_on",
        "trip_joins",
        ["account_id", "mark_id", "mark_version", "station_id", "station_version", "stamp", "stale"],
        unique=False,
    )
    op.create_index(op.f("ix_trip_joins_account_id_ended_at"), "trip_joins", ["account_id", "ended_at"], unique=False)


def _make_facts() -> None:
    op.create_table(
        "trip_facts",
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("factor", sa.String(length=40), nullable=False),
        sa.Column("local_day", sa.Date(), nullable=False),
        sa.Column("trip_id", sa.String(length=30), nullable=False),
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("purpose", sa.String(length=10), nullable=False),
        sa.Column("rods", sa.Boolean(), nullable=False),
        sa.Column("effort", sa.LargeBinary(), nullable=False),
        sa.Column("caught", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_trip_facts_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "trip_id"],
            ["trips.account_id", "trips.trip_id"],
            name=op.f("fk_trip_facts_account_id_trip_id_trips"),
        ),
        sa.PrimaryKeyConstraint("account_id", "factor", "local_day", "trip_id", name=op.f("pk_trip_facts")),
        sqlite_with_rowid=False,
    )
    op.create_index(op.f("ix_trip_facts_account_id_trip_id"), "trip_facts", ["account_id", "trip_id"], unique=False)


def downgrade() -> None:
    """Drop them."""
    op.drop_table("trip_facts")
    op.drop_table("trip_joins")
    with op.batch_alter_table("diary_rows") as batch:
        for name in ("caught", "coarse_us", "why_not"):
            batch.drop_column(name)
    with op.batch_alter_table("trips") as batch:
        for name in ("bests", "caught", "uncast_us", "bait_on_us", "raw_us", "why_not", "purpose"):
            batch.drop_column(name)
