"""What the repositories hand out: frozen records, without a session behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

#: States of a job, and so of a fit; the first two are active.
QUEUED, RUNNING, DONE, FAILED, CANCELLED = "queued", "running", "done", "failed", "cancelled"
ACTIVE = (QUEUED, RUNNING)


@dataclass(frozen=True, slots=True)
class AccountRecord:
    """An account."""

    account_id: str
    name: str
    created_at: datetime


@dataclass(frozen=True, slots=True)
class KeyRecord:
    """An API key, without anything of its secret."""

    key_id: str
    account_id: str
    name: str
    prefix: str
    scopes: frozenset[str]
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True)
class KeyHolder:
    """What is asked of a key when it is presented."""

    key_id: str
    account_id: str
    secret_hash: str
    scopes: frozenset[str]
    expires_at: datetime | None
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True)
class StationRecord:
    """A station; ``version`` 0 means that it has no tide model yet, ``owned`` that it is the account's own."""

    station_id: str
    external_ref: str | None
    name: str
    latitude: float
    longitude: float | None
    time_zone: str
    public: bool
    version: int
    created_at: datetime
    updated_at: datetime
    owned: bool


@dataclass(frozen=True, slots=True)
class ModelRecord:
    """What is known of one tide model of a station, without the model."""

    station_id: str
    version: int
    source: str
    fit_id: str | None
    datum: str
    input_hash: str
    numerics: int
    code_version: str
    created_at: datetime


@dataclass(frozen=True, slots=True)
class Claim:
    """The right to work on a job: of one runner, for one attempt, as long as its lease is renewed."""

    job_id: str
    account_id: str
    runner_id: str
    attempt: int


@dataclass(frozen=True, slots=True)
class JobRecord:
    """Long work: what is to be done, and how it fares."""

    job_id: str
    account_id: str
    kind: str
    state: str
    input_hash: str
    input: Mapping[str, Any]
    progress: Mapping[str, Any] | None
    attempts: int
    runner_id: str | None
    lease_until: datetime | None
    cancel_requested: bool
    result: Mapping[str, Any] | None
    problem: Mapping[str, Any] | None
    created_at: datetime
    started_at: datetime | None
    finished_at: datetime | None
    updated_at: datetime

    @property
    def claim(self) -> Claim:
        """The claim by which a running job is held."""
        assert self.runner_id is not None, "only a job that was claimed has a runner"
        return Claim(self.job_id, self.account_id, self.runner_id, self.attempts)


@dataclass(frozen=True, slots=True)
class FitRecord:
    """One fit of a gauge record, without the model it made; state, times and problem are those of its job."""

    fit_id: str
    station_id: str
    job_id: str
    state: str
    record_sha256: str
    record_bytes: int
    options: Mapping[str, Any]
    problem: Mapping[str, Any] | None
    report: Mapping[str, Any] | None
    adopted_version: int | None
    created_at: datetime
    started_at: datetime | None
    finished_at: datetime | None


#: What can become of a row of an import.
ROW_CREATED, ROW_UNCHANGED, ROW_CONFLICT, ROW_INVALID = "created", "unchanged", "conflict", "invalid"
ROW_STATUSES = (ROW_CREATED, ROW_UNCHANGED, ROW_CONFLICT, ROW_INVALID)


@dataclass(frozen=True, slots=True)
class ImportRecord:
    """One import of a file; ``counts`` by status are of the rows done so far, the rest is as in `FitRecord`.

    ``mapping`` is how its columns are read, None where they have our names.
    """

    import_id: str
    job_id: str
    kind: str
    format: str
    mapping: Mapping[str, Any] | None
    dry_run: bool
    state: str
    body_sha256: str
    body_bytes: int
    rows: int
    counts: Mapping[str, int]
    problem: Mapping[str, Any] | None
    created_at: datetime
    started_at: datetime | None
    finished_at: datetime | None


class ImportLine(NamedTuple):
    """What became of one row of an import; ``told`` is what it said, as a hash, where a dry run has to remember."""

    row: int
    client_ref: str | None
    status: str
    thing_id: str | None
    faults: Sequence[Mapping[str, Any]]
    told: str | None = None


class ImportRun(NamedTuple):
    """Rows of an import one after the other, from the row ``first``, each of which made a thing: their references, and
    the ids of the things."""

    first: int
    client_refs: Sequence[str]
    thing_ids: Sequence[str]


class DocumentRecord(NamedTuple):
    """A versioned document as it stands, without what it says."""

    id: str
    external_ref: str | None
    version: int
    created_at: datetime
    updated_at: datetime


@dataclass(frozen=True, slots=True)
class VersionRecord:
    """One version of a document, and since when there is one."""

    version: int
    created_at: datetime


@dataclass(frozen=True, slots=True)
class ConditionRecord:
    """One issue of conditions, without its values, of a mark or of an area; ``points`` are times x variables."""

    id: str
    mark_id: str | None
    area: str | None
    content_hash: str
    summary: Mapping[str, Any]
    created_at: datetime
    kind: str
    source: str
    issued_at: datetime
    valid_until: datetime | None
    starts_at: datetime
    ends_at: datetime
    points: int


@dataclass(frozen=True, slots=True)
class WarningRecord:
    """One official warning, without what it says; with neither mark nor area it is of where its own areas are."""

    id: str
    mark_id: str | None
    area: str | None
    content_hash: str
    summary: Mapping[str, Any]
    created_at: datetime
    identifier: str
    sender: str
    sent_at: datetime
    ends_at: datetime | None


#: What can happen to a thing.
CREATED, UPDATED, DELETED = "created", "updated", "deleted"


class Change(NamedTuple):
    """The latest change of a thing; ``version`` is that of a document or of a station's tide, None once deleted."""

    kind: str
    thing_id: str
    change: str
    version: int | None
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class ChangeRecord:
    """A change and its ``number``: a later change of the account has a larger one."""

    number: int
    change: Change


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """What a request was answered, for whoever sends it again under the same key."""

    fingerprint: str
    status: int
    headers: Mapping[str, str]
    content: bytes
