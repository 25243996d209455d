"""Every error that the service raises on purpose, with its data on it.

The tree::

    ServiceError
    ├── NotFound                no such thing for this account
    ├── Conflict
    │   ├── ReferenceTaken      the external reference is another's
    │   ├── IssueTaken          the same issue of conditions is there and says something else
    │   ├── NoModel             the station has no tide model yet
    │   ├── FitNotDone          only a fit that is done can be adopted
    │   ├── FitNotChecked       a fit without a check of its record
    │   ├── PlanNotDone         a plan without its sessions in order yet
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
    │   ├── TooManyValues       an issue of conditions of more values than are kept of a place
    │   ├── TooManyRows         a file of more rows than one import takes
    │   └── TooManyJobs         too many jobs waiting
    ├── CursorInvalid           a cursor that this list did not give
    ├── CursorOutdated          a cursor whose list rests on what has changed since
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
    │   ├── NoFonts             a picture in pixels was asked for on a machine without fonts
    │   ├── NotReady            the service is not ready; says what is missing
    │   ├── SpoolUnavailable    what is uploaded cannot be written to the spool folder
    │   ├── SettingsInvalid     variables of the environment that set nothing
    │   └── PortUnavailable     the service cannot listen at its port
    └── JobFailed
        ├── WorkerLost          the worker process died in every attempt
        ├── JobInterrupted      the process that ran the job died in every attempt
        ├── JobTimedOut         the job ran longer than the limit
        ├── JobBroke            an error that nobody foresaw
        ├── RecordLost          an uploaded record is not where this worker looks for it
        └── ClusterUnreachable  the cluster that jobs are to be done on cannot be used

No class here knows of HTTP. Each says what is wrong, where, and what would be right.
"""

from service.errors.access import (
    AccessRefused,
    KeyExpired,
    KeyInvalid,
    KeyMalformed,
    KeyNeeded,
    NotLocal,
    NotOwned,
    ScopeNeeded,
    TooManyRequests,
)
from service.errors.request import (
    BodyTooDeep,
    BodyTooLarge,
    CursorInvalid,
    CursorOutdated,
    DocumentInvalid,
    FileUnreadable,
    LimitExceeded,
    MediaNotSupported,
    NotAcceptable,
    RequestUnreadable,
    SearchTooLarge,
    SpanTooLong,
    TooManyJobs,
    TooManyPoints,
    TooManyRows,
    TooManyValues,
)
from service.errors.root import (
    ServiceError,
)
from service.errors.running import (
    ClusterUnreachable,
    JobBroke,
    JobFailed,
    JobInterrupted,
    JobTimedOut,
    NoFonts,
    NotReady,
    PortUnavailable,
    RecordLost,
    SettingsInvalid,
    SpoolUnavailable,
    StoreUnavailable,
    Unavailable,
    WorkerLost,
)
from service.errors.store import (
    Conflict,
    CursorGone,
    FitNotChecked,
    FitNotDone,
    InUse,
    IssueTaken,
    JobEnded,
    KeyReused,
    KeyRunning,
    NoModel,
    NotFound,
    PlanNotDone,
    Precondition,
    PreconditionMissing,
    ReferenceTaken,
    Stale,
    StoreConflict,
)

__all__ = [
    "AccessRefused",
    "BodyTooDeep",
    "BodyTooLarge",
    "ClusterUnreachable",
    "Conflict",
    "CursorGone",
    "CursorInvalid",
    "CursorOutdated",
    "DocumentInvalid",
    "FileUnreadable",
    "FitNotChecked",
    "FitNotDone",
    "InUse",
    "IssueTaken",
    "JobBroke",
    "JobEnded",
    "JobFailed",
    "JobInterrupted",
    "JobTimedOut",
    "KeyExpired",
    "KeyInvalid",
    "KeyMalformed",
    "KeyNeeded",
    "KeyReused",
    "KeyRunning",
    "LimitExceeded",
    "MediaNotSupported",
    "NoFonts",
    "NoModel",
    "NotAcceptable",
    "NotFound",
    "NotLocal",
    "NotOwned",
    "NotReady",
    "PlanNotDone",
    "PortUnavailable",
    "Precondition",
    "PreconditionMissing",
    "RecordLost",
    "ReferenceTaken",
    "RequestUnreadable",
    "ScopeNeeded",
    "SearchTooLarge",
    "ServiceError",
    "SettingsInvalid",
    "SpanTooLong",
    "SpoolUnavailable",
    "Stale",
    "StoreConflict",
    "StoreUnavailable",
    "TooManyJobs",
    "TooManyPoints",
    "TooManyRequests",
    "TooManyRows",
    "TooManyValues",
    "Unavailable",
    "WorkerLost",
]
