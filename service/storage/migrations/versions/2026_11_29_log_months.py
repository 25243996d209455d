"""How often the months of each part of a log were written to; a month without a row has nothing.

Revision ID: 2026_11_29_log_months
Revises: 2026_11_29_feeds
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate, lifted

revision = "2026_11_29_log_months"
down_revision = "2026_11_29_feeds"
branch_labels = None
depends_on = None

_DATED = ("trips", "diary_rows", "trip_facts")


def upgrade() -> None:
    """Make the table, with the months that are there."""
    op.create_table(
        "log_months",
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("part", sa.String(length=12), nullable=False),
        sa.Column("month", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_log_months_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("account_id", "part", "month", name=op.f("pk_log_months")),
    )
    month = "CAST(strftime('%Y%m', local_day) AS INTEGER)"
    if op.get_bind().dialect.name == "postgresql":
        month = "CAST(to_char(local_day, 'YYYYMM') AS INTEGER)"
    with lifted(op, *_DATED, "trip_joins"):
        for part in _DATED:
            op.execute(
                "INSERT INTO log_months (account_id, part, month, version) "
                f"SELECT DISTINCT account_id, '{part}', {month}, 1 FROM {part}"
            )
        op.execute(
            "INSERT INTO log_months (account_id, part, month, version) "
            "SELECT DISTINCT account_id, 'trip_joins', 0, 1 FROM trip_joins"
        )
    isolate(op, "log_months")


def downgrade() -> None:
    """Drop it."""
    op.drop_table("log_months")
