"""First tables: accounts, stations and their models, fits, marks, species rules.

Revision ID: 2026_11_25_first_tables
Revises:
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "2026_11_25_first_tables"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make every table."""
    op.create_table(
        "accounts",
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("account_id", name=op.f("pk_accounts")),
    )
    op.create_table(
        "species_rules",
        sa.Column("rule_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_species_rules_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("rule_id", name=op.f("pk_species_rules")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_species_rules_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "rule_id", name=op.f("uq_species_rules_account_id_rule_id")),
    )
    op.create_table(
        "stations",
        sa.Column("station_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("latitude", sa.Float(), nullable=False),
        sa.Column("longitude", sa.Float(), nullable=True),
        sa.Column("time_zone", sa.String(length=200), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_stations_account_id_accounts")),
        sa.PrimaryKeyConstraint("station_id", name=op.f("pk_stations")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_stations_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "station_id", name=op.f("uq_stations_account_id_station_id")),
    )
    op.create_table(
        "fits",
        sa.Column("fit_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("station_id", sa.String(length=30), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("runner_id", sa.String(length=30), nullable=False),
        sa.Column("lease_until", sa.DateTime(), nullable=False),
        sa.Column("record_sha256", sa.String(length=64), nullable=False),
        sa.Column("record_bytes", sa.Integer(), nullable=False),
        sa.Column("options", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("report", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("model", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("adopted_version", sa.Integer(), nullable=True),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("started_at", sa.DateTime(), nullable=True),
        sa.Column("finished_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["account_id", "station_id"],
            ["stations.account_id", "stations.station_id"],
            name=op.f("fk_fits_account_id_station_id_stations"),
        ),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_fits_account_id_accounts")),
        sa.PrimaryKeyConstraint("fit_id", name=op.f("pk_fits")),
    )
    op.create_index(op.f("ix_fits_account_id_station_id"), "fits", ["account_id", "station_id"], unique=False)
    op.create_index(op.f("ix_fits_state"), "fits", ["state"], unique=False)
    op.create_table(
        "marks",
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("external_ref", sa.String(length=200), nullable=True),
        sa.Column("station_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("updated_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id", "station_id"],
            ["stations.account_id", "stations.station_id"],
            name=op.f("fk_marks_account_id_station_id_stations"),
        ),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.account_id"], name=op.f("fk_marks_account_id_accounts")),
        sa.PrimaryKeyConstraint("mark_id", name=op.f("pk_marks")),
        sa.UniqueConstraint("account_id", "external_ref", name=op.f("uq_marks_account_id_external_ref")),
        sa.UniqueConstraint("account_id", "mark_id", name=op.f("uq_marks_account_id_mark_id")),
    )
    op.create_index(op.f("ix_marks_account_id_station_id"), "marks", ["account_id", "station_id"], unique=False)
    op.create_table(
        "species_rule_versions",
        sa.Column("rule_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id", "rule_id"],
            ["species_rules.account_id", "species_rules.rule_id"],
            name=op.f("fk_species_rule_versions_account_id_rule_id_species_rules"),
        ),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_species_rule_versions_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("rule_id", "version", name=op.f("pk_species_rule_versions")),
    )
    op.create_index(op.f("ix_species_rule_versions_account_id"), "species_rule_versions", ["account_id"], unique=False)
    op.create_table(
        "station_versions",
        sa.Column("station_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("source", sa.String(length=20), nullable=False),
        sa.Column("fit_id", sa.String(length=30), nullable=True),
        sa.Column("datum", sa.String(length=200), nullable=False),
        sa.Column("input_hash", sa.String(length=100), nullable=False),
        sa.Column("numerics", sa.Integer(), nullable=False),
        sa.Column("code_version", sa.String(length=40), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id", "station_id"],
            ["stations.account_id", "stations.station_id"],
            name=op.f("fk_station_versions_account_id_station_id_stations"),
        ),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_station_versions_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("station_id", "version", name=op.f("pk_station_versions")),
    )
    op.create_index(op.f("ix_station_versions_account_id"), "station_versions", ["account_id"], unique=False)
    op.create_table(
        "mark_versions",
        sa.Column("mark_id", sa.String(length=30), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("account_id", sa.String(length=30), nullable=False),
        sa.Column("document", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id", "mark_id"],
            ["marks.account_id", "marks.mark_id"],
            name=op.f("fk_mark_versions_account_id_mark_id_marks"),
        ),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.account_id"], name=op.f("fk_mark_versions_account_id_accounts")
        ),
        sa.PrimaryKeyConstraint("mark_id", "version", name=op.f("pk_mark_versions")),
    )
    op.create_index(op.f("ix_mark_versions_account_id"), "mark_versions", ["account_id"], unique=False)


def downgrade() -> None:
    """Drop every table."""
    op.drop_table("mark_versions")
    op.drop_table("station_versions")
    op.drop_table("species_rule_versions")
    op.drop_table("marks")
    op.drop_table("fits")
    op.drop_table("stations")
    op.drop_table("species_rules")
    op.drop_table("accounts")
