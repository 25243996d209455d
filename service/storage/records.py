"""What the repositories hand out: frozen records, without a session behind them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

#: States of a fit; the first two are active.
QUEUED, RUNNING, DONE, FAILED = "queued", "running", "done", "failed"
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
class FitRecord:
    """One fit of a gauge record, without the model it made."""

    fit_id: str
    station_id: str
    state: str
    runner_id: str
    record_sha256: str
    record_bytes: int
    options: Mapping[str, Any]
    problem: Mapping[str, Any] | None
    report: Mapping[str, Any] | None
    adopted_version: int | None
    created_at: datetime
    started_at: datetime | None
    finished_at: datetime | None


@dataclass(frozen=True, slots=True)
class DocumentRecord:
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


#: What can happen to a thing.
CREATED, UPDATED, DELETED = "created", "updated", "deleted"


@dataclass(frozen=True, slots=True)
class Change:
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
