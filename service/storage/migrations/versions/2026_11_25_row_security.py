"""Row-level security on PostgreSQL: an account sees its own rows; nothing changes on SQLite.

Revision ID: 2026_11_25_row_security
Revises: 2026_11_25_first_tables
"""

from __future__ import annotations

from alembic import op

from service.storage.row_security import isolate, release

revision = "2026_11_25_row_security"
down_revision = "2026_11_25_first_tables"
branch_labels = None
depends_on = None

#: Rows of these are looked for before it is known whose they are: the account itself, and fits whose lease ran out.
SERVED = ("accounts", "fits")
OWN = ("stations", "station_versions", "marks", "mark_versions", "species_rules", "species_rule_versions")


def upgrade() -> None:
    """Isolate every table."""
    for table in OWN:
        isolate(op, table)
    for table in SERVED:
        isolate(op, table, service=True)


def downgrade() -> None:
    """Open every table."""
    for table in (*OWN, *SERVED):
        release(op, table)
