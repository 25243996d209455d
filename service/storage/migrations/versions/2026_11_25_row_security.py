"""Row-level security on PostgreSQL: an account sees its own rows; nothing changes on SQLite.

Revision ID: 2026_11_25_row_security
Revises: 2026_11_25_editing
"""

from __future__ import annotations

from alembic import op

from service.storage.row_security import PUBLIC_POLICY, SOME_ACCOUNT, isolate, permit, release

revision = "2026_11_25_row_security"
down_revision = "2026_11_25_editing"
branch_labels = None
depends_on = None

#: Rows of these are looked for before it is known whose they are: by the prefix of a key, by a lease that ran out.
SERVED = ("accounts", "api_keys", "jobs")
OWN = (
    "stations", "station_versions", "marks", "mark_versions", "species_rules", "species_rule_versions", "changes",
    "answers", "fits",
)  # fmt: skip

#: What every account may read, and nobody without one: a public station and its tide models.
PUBLIC = {
    "stations": f"public AND {SOME_ACCOUNT}",
    "station_versions": (
        "EXISTS (SELECT FROM stations WHERE stations.station_id = station_versions.station_id AND stations.public)"
    ),
}


def upgrade() -> None:
    """Isolate every table."""
    for table in OWN:
        isolate(op, table)
    for table in SERVED:
        isolate(op, table, service=True)
    for table, condition in PUBLIC.items():
        permit(op, table, PUBLIC_POLICY, condition, command="SELECT")


def downgrade() -> None:
    """Open every table."""
    for table in (*OWN, *SERVED):
        release(op, table)
