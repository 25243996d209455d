"""Lines of the report of an import that say no more than that rows made things, many to a row.

Revision ID: 2026_11_29_import_runs
Revises: 2026_11_29_as_it_stands
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.row_security import isolate, lifted

revision = "2026_11_29_import_runs"
down_revision = "2026_11_29_as_it_stands"
branch_labels = None
depends_on = None

_LISTS = ("client_refs", "thing_ids")


def upgrade() -> None:
    """Make the table; reports that are there stay as they are."""
    op.create_table(
        "import_runs",
        sa.Column("import_id", sa.String(length=30), nullable=False),
        sa.Column("first", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("client_refs", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("thing_ids", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_import_runs_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["account_id", "import_id"],
            ["imports.account_id", "imports.import_id"],
            name=op.f("fk_import_runs_account_id_import_id_imports"),
        ),
        sa.PrimaryKeyConstraint("import_id", "first", name=op.f("pk_import_runs")),
    )
    isolate(op, "import_runs")


def downgrade() -> None:
    """Write a line for each of the rows again, and drop it."""
    runs = sa.table("import_runs", *map(sa.column, ("import_id", "first", "account_id")), *map(_json, _LISTS))
    lines = sa.table(
        "import_rows", *map(sa.column, ("import_id", "row", "account_id", "client_ref", "status", "thing_id"))
    )
    with lifted(op, "import_runs", "import_rows"):
        for run in op.get_bind().execute(sa.select(runs)).mappings():
            of = {"import_id": run["import_id"], "account_id": run["account_id"], "status": "created"}
            pairs = zip(run["client_refs"], run["thing_ids"], strict=True)
            its = [
                {**of, "row": row, "client_ref": ref, "thing_id": key}
                for row, (ref, key) in enumerate(pairs, run["first"])
            ]
            op.bulk_insert(lines, its)
    op.drop_table("import_runs")


def _json(name: str) -> sa.ColumnClause[object]:
    return sa.column(name, sa.JSON())
