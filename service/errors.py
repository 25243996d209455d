"""Every error that the service raises on purpose, with its data on it.

The tree::

    ServiceError
    ├── NotFound                no such thing for this account
    ├── Conflict
    │   ├── ReferenceTaken      the external reference is another's
    │   ├── NoModel             the station has no tide model yet
    │   ├── FitNotDone          only a fit that is done can be adopted
    │   ├── InUse               what others rest on cannot be deleted
    │   ├── KeyRunning          a request with the same Idempotency-Key is still being answered
    │   ├── JobEnded            a job that has ended cannot be cancelled
    │   └── StoreConflict       two writers met, or a row that must exist does not
    ├── Precondition
    │   ├── PreconditionMissing an edit that does not say what it edits
    │   └── Stale               the thing has changed since it was read
    ├── KeyReused               an Idempotency-Key that came with another request
    ├── CursorGone              a cursor from beyond what the store knows
    ├── RequestUnreadable       a body that is no JSON document
    │   └── BodyTooDeep         nested deeper than the limit
    ├── BodyTooLarge            more bytes than the limit
    ├── MediaNotSupported       a content type that the operation does not take
    ├── NotAcceptable           no form of the answer that the caller accepts
    ├── FileUnreadable          a file of rows that breaks its format
    ├── DocumentInvalid         faults of a document or of parameters that the service found
    ├── LimitExceeded
    │   ├── TooManyPoints       more values than one answer holds; says the step that fits
    │   ├── SpanTooLong         a span longer than the limit
    │   ├── SearchTooLarge      marks x rules x days over the limit
    │   ├── TooManyRows         a file of more rows than one import takes
    │   └── TooManyJobs         too many jobs waiting
    ├── CursorInvalid           a cursor that this list did not give
    ├── AccessRefused
    │   ├── KeyNeeded           the request carries no API key
    │   ├── KeyMalformed        what it carries has not the form of a key
    │   ├── KeyInvalid          the key is not known, or was revoked
    │   ├── KeyExpired          the key has expired
    │   ├── ScopeNeeded         the key is not good for this
    │   ├── NotOwned            a public thing of another account can be read, not changed
    │   └── NotLocal            open mode serves this machine alone
    ├── TooManyRequests         more requests in a short time than the limit
    ├── Unavailable
    │   ├── StoreUnavailable    the store cannot be reached, is locked or full
    │   ├── NotReady            the service is not ready; says what is missing
    │   └── PortUnavailable     the service cannot listen at its port
    └── JobFailed
        ├── WorkerLost          the worker process died in every attempt
        ├── JobInterrupted      the process that ran the job died in every attempt
        ├── JobTimedOut         the job ran longer than the limit
        ├── JobBroke            an error that nobody foresaw
        └── RecordLost          an uploaded record is not where this worker looks for it

No class here knows of HTTP. Each says what is wrong, where, and what would be right.
"""

from __future__ import annotations

from collections.abc import Sequence

from tidecore.errors import Fault


class ServiceError(Exception):
    """Root of every error of the service; ``str()`` is a sentence for a person."""


class NotFound(ServiceError):
    """There is no such thing for this account."""

    def __init__(self, kind: str, key: str, expected: str = "") -> None:
        """``kind`` of thing and the ``key`` it was looked up by."""
        self.kind, self.key = kind, key
        self.expected = expected or f"the id of a {kind}, as its list gives it"
        super().__init__(f"there is no {kind} {key!r}; expected {self.expected}")


class Conflict(ServiceError):
    """What is asked for does not go with what is stored."""


class ReferenceTaken(Conflict):
    """An ``external_ref`` that another thing of the same kind has."""

    def __init__(self, kind: str, external_ref: str, holder: str) -> None:
        """``kind`` of thing, the reference, and the id that holds it."""
        self.kind, self.external_ref, self.holder = kind, external_ref, holder
        super().__init__(f"external_ref {external_ref!r} is already that of {kind} {holder!r}; give another")


class NoModel(Conflict):
    """A station that has no tide model yet."""

    def __init__(self, station_id: str) -> None:
        """``station_id`` of the station."""
        self.station_id = station_id
        super().__init__(f"station {station_id!r} has no tide model yet; adopt a fit, or give constituents")


class FitNotDone(Conflict):
    """A fit that cannot be adopted in its state."""

    def __init__(self, fit_id: str, state: str) -> None:
        """``fit_id`` and the ``state`` it is in."""
        self.fit_id, self.state = fit_id, state
        super().__init__(f"fit {fit_id!r} is {state}; only a fit that is done can be adopted")


class InUse(Conflict):
    """A thing that others rest on."""

    def __init__(self, kind: str, key: str, users: Sequence[str]) -> None:
        """``kind`` of thing, its ``key``, and the ids of its ``users``, or of some of them."""
        self.kind, self.key, self.users = kind, key, tuple(users)
        told = ", ".join(self.users) or "things of other accounts"
        super().__init__(f"{kind} {key!r} is in use by {told}; change or delete those first")


class KeyRunning(Conflict):
    """A request with the same Idempotency-Key is still being answered."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("a request with this Idempotency-Key is still being answered; send it again in a second")


class JobEnded(Conflict):
    """A job that has ended and so cannot be cancelled."""

    def __init__(self, job_id: str, state: str) -> None:
        """``job_id`` and the ``state`` it ended in."""
        self.job_id, self.state = job_id, state
        super().__init__(f"job {job_id!r} is {state}; only a job that is queued or running can be cancelled")


class StoreConflict(Conflict):
    """Two writers met at the same row, or a row that must exist has gone."""

    def __init__(self, what: str = "") -> None:
        """``what`` the store refused."""
        self.what = what
        super().__init__("the store refused the write because of another one" + (f" ({what})" if what else ""))


class Precondition(ServiceError):
    """What the caller knows of the thing it edits is missing or out of date."""


class PreconditionMissing(Precondition):
    """An edit that does not say which state of the thing it edits."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the edit does not say what it edits; send If-Match with the ETag that a read gave, or *")


class Stale(Precondition):
    """The thing is not any more as the caller read it."""

    def __init__(self, kind: str, key: str) -> None:
        """``kind`` of thing and its ``key``."""
        self.kind, self.key = kind, key
        super().__init__(f"{kind} {key!r} has changed since it was read; read it again and edit that")


class KeyReused(ServiceError):
    """An Idempotency-Key under which another request was answered."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("another request was answered under this Idempotency-Key; give each request its own")


class CursorGone(ServiceError):
    """A cursor from beyond what the store knows: it was put back to an earlier state."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the store knows nothing as new as this cursor any more; read everything again from the start")


class RequestUnreadable(ServiceError):
    """A body that is no JSON document."""

    def __init__(self, reason: str, expected: str = "one JSON document in UTF-8") -> None:
        """Hold the ``reason`` and what was ``expected``."""
        self.reason, self.expected = reason, expected
        super().__init__(f"the body cannot be read: {reason}; expected {expected}")


class BodyTooDeep(RequestUnreadable):
    """A JSON document nested deeper than the limit."""

    def __init__(self, limit: int) -> None:
        """``limit`` of levels."""
        self.limit = limit
        super().__init__(f"nested deeper than {limit} levels", f"at most {limit} levels of lists and objects")


class BodyTooLarge(ServiceError):
    """A body of more than ``limit`` bytes."""

    def __init__(self, limit: int, setting: str) -> None:
        """``limit`` in bytes and the ``setting`` that gives it."""
        self.limit, self.setting = limit, setting
        super().__init__(f"the body has more than {limit} bytes, the limit of {setting}; send less")


class MediaNotSupported(ServiceError):
    """A content type that the operation does not take."""

    def __init__(self, given: str, accepted: Sequence[str]) -> None:
        """What was ``given`` and what is ``accepted``."""
        self.given, self.accepted = given, tuple(accepted)
        super().__init__(f"content type {given or '(none)'!r} is not taken; expected {' or '.join(self.accepted)}")


class NotAcceptable(ServiceError):
    """No form of the answer that the caller accepts."""

    def __init__(self, given: str, available: Sequence[str]) -> None:
        """What the ``given`` Accept header says and what is ``available``."""
        self.given, self.available = given, tuple(available)
        super().__init__(
            f"the Accept header {given[:200]!r} takes no form that there is; expected {' or '.join(self.available)}"
        )


class DocumentInvalid(ServiceError):
    """Faults of a document or of parameters, all of them at once."""

    def __init__(self, faults: Sequence[Fault] | Fault) -> None:
        """Hold ``faults``; a single one may be given bare."""
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("; ".join(str(fault) for fault in self.faults))


class FileUnreadable(ServiceError):
    """A file of rows that breaks its format: not a row alone, but the file from there on."""

    def __init__(self, reason: str, line: int, expected: str) -> None:
        """The ``reason``, the 1-based ``line``, and what would be right there."""
        self.reason, self.line, self.expected = reason, line, expected
        super().__init__(f"line {line}: {reason}; expected {expected}")

    def __reduce__(self) -> tuple[type[FileUnreadable], tuple[str, int, str]]:
        """Survive pickling between processes."""
        return type(self), (self.reason, self.line, self.expected)


class LimitExceeded(ServiceError):
    """More than one answer may hold."""

    def __init__(self, sentence: str, limit: float, setting: str, field: str) -> None:
        """The ``sentence`` for a person, the ``limit``, its ``setting`` and the ``field`` to change."""
        self.limit, self.setting, self.field = limit, setting, field
        super().__init__(sentence)


class TooManyPoints(LimitExceeded):
    """More values than one answer holds."""

    def __init__(self, points: int, limit: int, fitting_step_s: int) -> None:
        """``points`` asked for, the ``limit``, and the step in seconds ``fitting_step_s`` that fits."""
        self.points, self.fitting_step_s = points, fitting_step_s
        sentence = f"{points} values asked for, more than the limit of {limit}; a step of {fitting_step_s} s fits"
        super().__init__(sentence, limit, "EBBMARK_MAX_POINTS", "step")


class SpanTooLong(LimitExceeded):
    """A span longer than the limit."""

    def __init__(self, days: float, limit_days: float, setting: str) -> None:
        """``days`` asked for, the ``limit_days`` and the ``setting`` that gives it."""
        self.days = days
        sentence = f"the span is {days:g} days, more than the limit of {limit_days:g}; ask for a shorter one"
        super().__init__(sentence, limit_days, setting, "end")


class SearchTooLarge(LimitExceeded):
    """Marks x rules x days over the limit."""

    def __init__(self, cells: float, limit: int) -> None:
        """``cells`` asked for and the ``limit``."""
        self.cells = cells
        sentence = (
            f"marks x rules x days is {cells:.0f}, more than the limit of {limit}; "
            "ask for fewer marks, fewer rules or a shorter span"
        )
        super().__init__(sentence, limit, "EBBMARK_MAX_SEARCH_CELLS", "end")


class TooManyJobs(LimitExceeded):
    """Too many jobs of this account are waiting."""

    def __init__(self, limit: int) -> None:
        """``limit`` of jobs queued or running."""
        sentence = f"{limit} jobs are queued or running; wait until one ends, or cancel one"
        super().__init__(sentence, limit, "EBBMARK_MAX_WAITING_JOBS", "body")


class TooManyRows(LimitExceeded):
    """A file of more rows than one import takes."""

    def __init__(self, limit: int) -> None:
        """``limit`` of rows, all of which have been done."""
        sentence = f"the file has more than {limit} rows; what follows them was not read; send the rest on its own"
        super().__init__(sentence, limit, "EBBMARK_MAX_IMPORT_ROWS", "body")


class CursorInvalid(ServiceError):
    """A cursor that this list did not give."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the cursor is not one that this list gave; start again without a cursor")


class AccessRefused(ServiceError):
    """A caller that may not do this."""


class KeyNeeded(AccessRefused):
    """The request carries no API key."""

    def __init__(self) -> None:
        """Say how to send one."""
        super().__init__(
            "an API key is needed: send it as `Authorization: Bearer ebk_...`; whoever runs the service makes one with "
            "`ebbmark keys create`"
        )


class NotOwned(AccessRefused):
    """A public thing of another account, which can be read and not changed."""

    def __init__(self, kind: str, key: str) -> None:
        """``kind`` of thing and its ``key``."""
        self.kind, self.key = kind, key
        super().__init__(f"{kind} {key!r} is another account's; it can be read and not changed")


class KeyMalformed(AccessRefused):
    """What the request carries has not the form of a key."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``; never what was given."""
        self.reason = reason
        super().__init__(f"{reason}; expected one header `Authorization: Bearer ebk_<10 characters>_<32 characters>`")


class KeyInvalid(AccessRefused):
    """The key is not known, or was revoked; which of them is nobody's business."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the API key is not valid: it is not known here, or was revoked; use another one")


class KeyExpired(AccessRefused):
    """The key has expired; said only to who has its secret."""

    def __init__(self, expired_at: str) -> None:
        """``expired_at``: the instant, as text."""
        self.expired_at = expired_at
        super().__init__(f"the API key expired at {expired_at}; use another one")


class ScopeNeeded(AccessRefused):
    """The key is not good for this."""

    def __init__(self, scope: str, scopes: Sequence[str]) -> None:
        """The ``scope`` needed and the ``scopes`` of the key."""
        self.scope = scope
        super().__init__(f"this needs a key with the scope {scope}; this one has {', '.join(scopes) or 'none'}")


class NotLocal(AccessRefused):
    """Open mode serves this machine alone."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``."""
        self.reason = reason
        super().__init__(f"open mode (EBBMARK_AUTH=open) serves this machine alone: {reason}")


class TooManyRequests(ServiceError):
    """More requests in a short time than the limit."""

    def __init__(self, per_minute: int, retry_after_s: int) -> None:
        """The limit ``per_minute``, and the whole seconds until a request is taken again."""
        self.limit, self.setting, self.retry_after_s = per_minute, "EBBMARK_RATE_LIMIT", retry_after_s
        super().__init__(
            f"more requests than the limit of {per_minute} a minute (EBBMARK_RATE_LIMIT); "
            f"try again in {retry_after_s} s"
        )


class Unavailable(ServiceError):
    """What the service needs is not there just now."""


class StoreUnavailable(Unavailable):
    """The store cannot be reached, is locked or full."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``."""
        self.reason = reason
        super().__init__(f"the store cannot be used now: {reason}")


class NotReady(Unavailable):
    """The service is not ready; ``missing`` says what it lacks."""

    def __init__(self, missing: Sequence[str]) -> None:
        """Hold what is ``missing``."""
        self.missing = tuple(missing)
        super().__init__("not ready: " + "; ".join(self.missing))


class PortUnavailable(Unavailable):
    """The service cannot listen at its port; only ever seen before there is anything to answer."""


class JobFailed(ServiceError):
    """A job that ended without a result, not by a fault of what it was given."""


class WorkerLost(JobFailed):
    """The worker process died in every attempt."""

    def __init__(self, attempts: int) -> None:
        """``attempts`` that were made."""
        self.attempts = attempts
        super().__init__(
            f"the worker process died in each of {attempts} attempts, as it does when memory runs out; "
            "give it less at once, or the machine more"
        )


class JobInterrupted(JobFailed):
    """The process that ran the job died, or lost the store, in every attempt."""

    def __init__(self, attempts: int) -> None:
        """``attempts`` that were made."""
        self.attempts = attempts
        super().__init__(
            f"the process that ran this job fell silent in each of {attempts} attempts; look at its log, "
            "then ask for the job again"
        )


class JobTimedOut(JobFailed):
    """The job ran longer than the limit."""

    def __init__(self, limit_s: float) -> None:
        """``limit_s`` in seconds."""
        self.limit_s = limit_s
        super().__init__(f"the job ran longer than {limit_s:g} s, the limit of EBBMARK_JOB_TIMEOUT_S")


class JobBroke(JobFailed):
    """An error inside the job that nobody foresaw; the log has it under the job's id."""

    def __init__(self) -> None:
        """Say it without giving the inside away."""
        super().__init__("the job broke on an unforeseen error; the log has it under the id of the job")


class RecordLost(JobFailed):
    """An uploaded record is not where this worker looks for it."""

    def __init__(self) -> None:
        """Say where it should be."""
        super().__init__(
            "the uploaded record is not in the spool folder of this worker; send it again, and give every process "
            "the same EBBMARK_SPOOL"
        )
