"""Editing: the order of changes, kept answers, public stations, marks at stations of other accounts.

Revision ID: 2026_11_25_editing
Revises: 2026_11_25_keys
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_editing"
down_revision = "2026_11_25_keys"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables and columns; every thing there is counts as changed once, so that a copy can start from them."""
    with op.batch_alter_table("accounts") as accounts:
        accounts.add_column(sa.Column("change_number", sa.BigInteger(), server_default="0", nullable=False))
    with op.batch_alter_table("stations") as stations:
        stations.add_column(sa.Column("public", sa.Boolean(), server_default=sa.false(), nullable=False))
    with op.batch_alter_table("marks") as marks:
        marks.drop_constraint("fk_marks_account_id_station_id_stations", type_="foreignkey")
        marks.create_foreign_key("fk_marks_station_id_stations", "stations", ["station_id"], ["station_id"])
    op.create_table(
        "changes",
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("thing_id", sa.String(length=30), nullable=False),
        sa.Column("change", sa.String(length=10), nullable=False),
        sa.Column("version", sa.Integer(), nullable=True),
        sa.Column("changed_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_changes_account_id_accounts")),
        sa.PrimaryKeyConstraint("account_id", "number", name=op.f("pk_changes")),
        sa.UniqueConstraint("account_id", "kind", "thing_id", name=op.f("uq_changes_account_id_kind_thing_id")),
    )
    op.create_table(
        "answers",
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("idempotency_key", sa.String(length=255), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_answers_account_id_accounts")),
        sa.PrimaryKeyConstraint("account_id", "idempotency_key", name=op.f("pk_answers")),
    )
    op.create_index(op.f("ix_answers_account_id_created_at"), "answers", ["account_id", "created_at"], unique=False)
    for kind, table, key in (
        ("station", "stations", "station_id"),
        ("mark", "marks", "mark_id"),
        ("species_rule", "species_rules", "rule_id"),
    ):
        op.execute(
            f"INSERT INTO changes (account_id, number, kind, thing_id, change, version, changed_at) "
            f"SELECT t.account_id, a.change_number + ROW_NUMBER() OVER (PARTITION BY t.account_id ORDER BY t.{key}), "
            f"'{kind}', t.{key}, 'created', NULLIF(t.version, 0), t.updated_at "
            f"FROM {table} t JOIN accounts a ON a.account_id = t.account_id"
        )
        op.execute(
            "UPDATE accounts SET change_number = COALESCE("
            "(SELECT MAX(c.number) FROM changes c WHERE c.account_id = accounts.account_id), change_number)"
        )


def downgrade() -> None:
    """Take them away again; fails where a mark follows a station of another account."""
    op.drop_table("answers")
    op.drop_table("changes")
    with op.batch_alter_table("marks") as marks:
        marks.drop_constraint("fk_marks_station_id_stations", type_="foreignkey")
        marks.create_foreign_key(
            "fk_marks_account_id_station_id_stations",
            "stations",
            ["account_id", "station_id"],
            ["account_id", "station_id"],
        )
    with op.batch_alter_table("stations") as stations:
        stations.drop_column("public")
    with op.batch_alter_table("accounts") as accounts:
        accounts.drop_column("change_number")
