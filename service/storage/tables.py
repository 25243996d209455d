"""The tables. Every one has its account; rows of a version never change."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    String,
    UniqueConstraint,
    false,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from service.storage.condition_tables import ConditionIssueRow as ConditionIssueRow
from service.storage.condition_tables import PlacedRow as PlacedRow
from service.storage.condition_tables import WarningRow as WarningRow
from service.storage.join_tables import TripFactRow as TripFactRow
from service.storage.join_tables import TripJoinRow as TripJoinRow
from service.storage.log_tables import DiaryRowRow as DiaryRowRow
from service.storage.log_tables import DiaryRowVersionRow as DiaryRowVersionRow
from service.storage.log_tables import LogMonthRow as LogMonthRow
from service.storage.log_tables import RegulationRow as RegulationRow
from service.storage.log_tables import RegulationVersionRow as RegulationVersionRow
from service.storage.log_tables import TripRow as TripRow
from service.storage.log_tables import TripVersionRow as TripVersionRow
from service.storage.mapping import ID, NAME
from service.storage.mapping import DocumentRow as DocumentRow
from service.storage.mapping import DocumentVersionRow as DocumentVersionRow
from service.storage.mapping import Table as Table
from service.storage.plan_tables import FeedRow as FeedRow
from service.storage.plan_tables import PlanMarkRow as PlanMarkRow
from service.storage.plan_tables import PlanResultRow as PlanResultRow
from service.storage.plan_tables import PlanRow as PlanRow


class AccountRow(Table):
    """An account: owner of everything private."""

    __tablename__ = "accounts"

    account_id: Mapped[str] = mapped_column(ID, primary_key=True)
    name: Mapped[str] = mapped_column(NAME)
    #: Number of the account's newest change; counting it up under the row's lock puts changes in commit order.
    change_number: Mapped[int] = mapped_column(BigInteger, server_default="0")
    created_at: Mapped[datetime]


class ApiKeyRow(Table):
    """An API key of an account: the prefix that is shown, and a hash of the secret that is not kept."""

    __tablename__ = "api_keys"
    __table_args__ = (UniqueConstraint("prefix"), Index(None, "account_id"))

    key_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    name: Mapped[str] = mapped_column(NAME)
    prefix: Mapped[str] = mapped_column(String(20))
    secret_hash: Mapped[str] = mapped_column(String(64))
    scopes: Mapped[str] = mapped_column(String(40))
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]


class StationRow(Table):
    """A station; its tide models are `StationVersionRow`."""

    __tablename__ = "stations"
    __table_args__ = (UniqueConstraint("account_id", "external_ref"), UniqueConstraint("account_id", "station_id"))

    station_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    external_ref: Mapped[str | None] = mapped_column(NAME)
    name: Mapped[str] = mapped_column(NAME)
    latitude: Mapped[float] = mapped_column(Float)
    longitude: Mapped[float | None] = mapped_column(Float)
    time_zone: Mapped[str] = mapped_column(NAME)
    #: Readable by every account, and writable by its own alone.
    public: Mapped[bool] = mapped_column(Boolean, server_default=false())
    version: Mapped[int] = mapped_column(Integer)
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]


class StationVersionRow(Table):
    """One tide model of a station; never changed once written."""

    __tablename__ = "station_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "station_id"], ["stations.account_id", "stations.station_id"]),
        Index(None, "account_id"),
    )

    station_id: Mapped[str] = mapped_column(ID, primary_key=True)
    version: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    source: Mapped[str] = mapped_column(String(20))
    fit_id: Mapped[str | None] = mapped_column(ID)
    datum: Mapped[str] = mapped_column(NAME)
    input_hash: Mapped[str] = mapped_column(String(100))
    numerics: Mapped[int] = mapped_column(Integer)
    code_version: Mapped[str] = mapped_column(String(40))
    document: Mapped[dict[str, Any]]
    created_at: Mapped[datetime]


class JobRow(Table):
    """Long work, from request to end; of one content there is one at a time in an account."""

    __tablename__ = "jobs"
    __table_args__ = (
        UniqueConstraint("account_id", "job_id"),
        Index(None, "state", "job_id"),
        Index(
            "uq_jobs_active",
            "account_id",
            "kind",
            "input_hash",
            unique=True,
            sqlite_where=text("state IN ('queued', 'running')"),
            postgresql_where=text("state IN ('queued', 'running')"),
        ),
    )

    job_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    kind: Mapped[str] = mapped_column(String(40))
    state: Mapped[str] = mapped_column(String(10))
    input_hash: Mapped[str] = mapped_column(String(64))
    input: Mapped[dict[str, Any]]
    progress: Mapped[dict[str, Any] | None]
    attempts: Mapped[int] = mapped_column(Integer)
    runner_id: Mapped[str | None] = mapped_column(ID)
    lease_until: Mapped[datetime | None]
    cancel_requested: Mapped[bool] = mapped_column(Boolean)
    result: Mapped[dict[str, Any] | None]
    problem: Mapped[dict[str, Any] | None]
    created_at: Mapped[datetime]
    started_at: Mapped[datetime | None]
    finished_at: Mapped[datetime | None]
    updated_at: Mapped[datetime]


class FitRow(Table):
    """What is particular to a fit of a gauge record; state, times and problem are those of its job."""

    __tablename__ = "fits"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "station_id"], ["stations.account_id", "stations.station_id"]),
        ForeignKeyConstraint(["account_id", "job_id"], ["jobs.account_id", "jobs.job_id"]),
        Index(None, "account_id", "station_id"),
        Index(None, "account_id", "job_id"),
    )

    fit_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    station_id: Mapped[str] = mapped_column(ID)
    job_id: Mapped[str] = mapped_column(ID)
    record_sha256: Mapped[str] = mapped_column(String(64))
    record_bytes: Mapped[int] = mapped_column(Integer)
    options: Mapped[dict[str, Any]]
    report: Mapped[dict[str, Any] | None]
    model: Mapped[dict[str, Any] | None]
    adopted_version: Mapped[int | None] = mapped_column(Integer)
    created_at: Mapped[datetime]


class ImportRow(Table):
    """What is particular to an import, and how far it is; state, times and problem are those of its job."""

    __tablename__ = "imports"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "job_id"], ["jobs.account_id", "jobs.job_id"]),
        UniqueConstraint("account_id", "import_id"),
        Index(None, "account_id", "job_id"),
    )

    import_id: Mapped[str] = mapped_column(ID, primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    job_id: Mapped[str] = mapped_column(ID)
    kind: Mapped[str] = mapped_column(String(20))
    format: Mapped[str] = mapped_column(String(20))
    dry_run: Mapped[bool] = mapped_column(Boolean)
    body_sha256: Mapped[str] = mapped_column(String(64))
    body_bytes: Mapped[int] = mapped_column(BigInteger)
    #: Rows that have their line in the report; an import that was interrupted goes on after them.
    rows: Mapped[int] = mapped_column(Integer)
    created: Mapped[int] = mapped_column(Integer)
    unchanged: Mapped[int] = mapped_column(Integer)
    conflict: Mapped[int] = mapped_column(Integer)
    invalid: Mapped[int] = mapped_column(Integer)
    created_at: Mapped[datetime]


class ImportRunRow(Table):
    """Lines of the report of an import one after the other, each that its row made a thing."""

    __tablename__ = "import_runs"
    __table_args__ = (ForeignKeyConstraint(["account_id", "import_id"], ["imports.account_id", "imports.import_id"]),)

    import_id: Mapped[str] = mapped_column(ID, primary_key=True)
    first: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    last: Mapped[int] = mapped_column(Integer)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    client_refs: Mapped[list[Any]] = mapped_column(JSON(none_as_null=True))
    thing_ids: Mapped[list[Any]] = mapped_column(JSON(none_as_null=True))


class ImportLineRow(Table):
    """One line of the report of an import: what became of one row of its file."""

    __tablename__ = "import_rows"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "import_id"], ["imports.account_id", "imports.import_id"]),
        Index(
            "ix_import_rows_told",
            "import_id",
            "client_ref",
            sqlite_where=text("told IS NOT NULL"),
            postgresql_where=text("told IS NOT NULL"),
        ),
    )

    import_id: Mapped[str] = mapped_column(ID, primary_key=True)
    row: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"))
    client_ref: Mapped[str | None] = mapped_column(NAME)
    status: Mapped[str] = mapped_column(String(10))
    thing_id: Mapped[str | None] = mapped_column(ID)
    faults: Mapped[list[Any] | None] = mapped_column(JSON(none_as_null=True))
    #: What the row says, as a hash; kept in a dry run alone, where no record can be compared with.
    told: Mapped[str | None] = mapped_column(String(200))


class MarkRow(DocumentRow):
    """A mark."""

    __tablename__ = "marks"
    __table_args__ = (
        UniqueConstraint("account_id", "external_ref"),
        UniqueConstraint("account_id", "mark_id"),
        Index(None, "account_id", "station_id"),
    )

    key: Mapped[str] = mapped_column("mark_id", ID, primary_key=True)
    #: Its station may be a public one of another account.
    station_id: Mapped[str] = mapped_column(ForeignKey("stations.station_id"))


class MarkVersionRow(DocumentVersionRow):
    """One version of a mark."""

    __tablename__ = "mark_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "mark_id"], ["marks.account_id", "marks.mark_id"]),
        Index(None, "account_id"),
    )

    key: Mapped[str] = mapped_column("mark_id", ID, primary_key=True)


class RuleRow(DocumentRow):
    """A species rule."""

    __tablename__ = "species_rules"
    __table_args__ = (UniqueConstraint("account_id", "external_ref"), UniqueConstraint("account_id", "rule_id"))

    key: Mapped[str] = mapped_column("rule_id", ID, primary_key=True)


class RuleVersionRow(DocumentVersionRow):
    """One version of a species rule."""

    __tablename__ = "species_rule_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "rule_id"], ["species_rules.account_id", "species_rules.rule_id"]),
        Index(None, "account_id"),
    )

    key: Mapped[str] = mapped_column("rule_id", ID, primary_key=True)


class SlackNoteRow(DocumentRow):
    """A note that the stream turned at a mark."""

    __tablename__ = "slack_notes"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "mark_id"], ["marks.account_id", "marks.mark_id"]),
        UniqueConstraint("account_id", "external_ref"),
        UniqueConstraint("account_id", "note_id"),
        Index(None, "account_id", "mark_id"),
    )

    key: Mapped[str] = mapped_column("note_id", ID, primary_key=True)
    mark_id: Mapped[str] = mapped_column(ID)


class SlackNoteVersionRow(DocumentVersionRow):
    """One version of a note."""

    __tablename__ = "slack_note_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "note_id"], ["slack_notes.account_id", "slack_notes.note_id"]),
        Index(None, "account_id"),
    )

    key: Mapped[str] = mapped_column("note_id", ID, primary_key=True)


class MethodRow(DocumentRow):
    """A method."""

    __tablename__ = "methods"
    __table_args__ = (UniqueConstraint("account_id", "external_ref"), UniqueConstraint("account_id", "method_id"))

    key: Mapped[str] = mapped_column("method_id", ID, primary_key=True)


class MethodVersionRow(DocumentVersionRow):
    """One version of a method."""

    __tablename__ = "method_versions"
    __table_args__ = (
        ForeignKeyConstraint(["account_id", "method_id"], ["methods.account_id", "methods.method_id"]),
        Index(None, "account_id"),
    )

    key: Mapped[str] = mapped_column("method_id", ID, primary_key=True)


class SafetyThresholdsRow(DocumentRow):
    """The safety thresholds of an account, one document at most."""

    __tablename__ = "safety_thresholds"
    __table_args__ = (UniqueConstraint("account_id", "external_ref"), UniqueConstraint("account_id", "thresholds_id"))

    key: Mapped[str] = mapped_column("thresholds_id", ID, primary_key=True)


class SafetyThresholdsVersionRow(DocumentVersionRow):
    """One version of the safety thresholds of an account."""

    __tablename__ = "safety_threshold_versions"
    __table_args__ = (
        ForeignKeyConstraint(
            ["account_id", "thresholds_id"], ["safety_thresholds.account_id", "safety_thresholds.thresholds_id"]
        ),
        Index(None, "account_id"),
    )

    key: Mapped[str] = mapped_column("thresholds_id", ID, primary_key=True)


class ChangeRow(Table):
    """The latest change of one thing of an account; a deleted thing leaves its last one behind."""

    __tablename__ = "changes"
    __table_args__ = (UniqueConstraint("account_id", "kind", "thing_id"),)

    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"), primary_key=True)
    number: Mapped[int] = mapped_column(BigInteger, primary_key=True, autoincrement=False)
    kind: Mapped[str] = mapped_column(String(20))
    thing_id: Mapped[str] = mapped_column(ID)
    change: Mapped[str] = mapped_column(String(10))
    version: Mapped[int | None] = mapped_column(Integer)
    changed_at: Mapped[datetime]


class AnswerRow(Table):
    """What a request with an Idempotency-Key was answered, for whoever sends it again."""

    __tablename__ = "answers"
    __table_args__ = (Index(None, "account_id", "created_at"),)

    account_id: Mapped[str] = mapped_column(ForeignKey("accounts.account_id"), primary_key=True)
    idempotency_key: Mapped[str] = mapped_column(String(255), primary_key=True)
    fingerprint: Mapped[str] = mapped_column(String(64))
    status: Mapped[int] = mapped_column(Integer)
    headers: Mapped[dict[str, Any]]
    content: Mapped[bytes] = mapped_column(LargeBinary)
    created_at: Mapped[datetime]
