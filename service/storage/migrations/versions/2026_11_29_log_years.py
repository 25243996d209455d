"""How often the years of each part of a log were written to; a year without a row has nothing.

Revision ID: 2026_11_29_log_years
Revises: 2026_11_29_feeds
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate, lifted

revision = "2026_11_29_log_years"
down_revision = "2026_11_29_feeds"
branch_labels = None
depends_on = None

_DATED = ("trips", "diary_rows", "trip_facts")


def upgrade() -> None:
    """Make the table, with the years that are there."""
    op.create_table(
        "log_years",
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("part", sa.String(length=12), nullable=False),
        sa.Column("year", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_log_years_account_id_accounts")),
        sa.PrimaryKeyConstraint("account_id", "part", "year", name=op.f("pk_log_years")),
    )
    year = "CAST(strftime('%Y', local_day) AS INTEGER)"
    if op.get_bind().dialect.name == "postgresql":
        year = "CAST(extract(year FROM local_day) AS INTEGER)"
    with lifted(op, *_DATED, "trip_joins"):
        for part in _DATED:
            op.execute(
                "INSERT INTO log_years (account_id, part, year, version) "
                f"SELECT DISTINCT account_id, '{part}', {year}, 1 FROM {part}"
            )
        op.execute(
            "INSERT INTO log_years (account_id, part, year, version) "
            "SELECT DISTINCT account_id, 'trip_joins', 0, 1 FROM trip_joins"
        )
    isolate(op, "log_years")


def downgrade() -> None:
    """Drop it."""
    op.drop_table("log_years")
