"""The types of problems (RFC 9457): the one table of their titles and status codes, and of the errors that are one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from service import errors as service_errors
from tidecore import errors as core_errors


@dataclass(frozen=True, slots=True)
class Problem:
    """One type of problem: its ``slug`` makes the URI ``/problems/<slug>``."""

    slug: str
    status: int
    title: str
    advice: str

    @property
    def type(self) -> str:
        """URI reference of the type."""
        return f"/problems/{self.slug}"


def _problems(*entries: Problem) -> Mapping[str, Problem]:
    return {entry.slug: entry for entry in entries}


#: Every type of problem there is.
PROBLEMS = _problems(
    Problem("invalid-request", 422, "The request does not fit the contract",
            "Each entry of errors names a field, what is wrong with it and what would be right."),
    Problem("invalid-input", 422, "Values that contradict each other or cannot be",
            "Each entry of errors names a field, what is wrong with it and what would be right."),
    Problem("invalid-span", 422, "A span that runs backwards or cannot be computed",
            "Give an end after the start, both from 1700 to 2200."),
    Problem("invalid-position", 422, "A position that is not on the globe",
            "Latitude is -90 to 90 degrees, longitude -180 to 180."),
    Problem("invalid-rule", 422, "A species rule that contradicts itself",
            "GET /v1/species-rules/schema gives the JSON Schema, GET /v1/factors the factors."),
    Problem("invalid-filter", 422, "A filter that cannot be read, or compares what cannot be compared",
            "GET /v1/queryables gives the columns with their types; position is the character that is wrong."),
    Problem("invalid-constituents", 422, "Constituents that make no tide",
            "Amplitudes are 0 or more metres, phases degrees, names those of the convention."),
    Problem("datum-conflict", 422, "Two sources state one datum differently", "Give each datum one level."),
    Problem("datum-unknown", 422, "The level of the datum is not known here", "Ask for one of those known."),
    Problem("datums-unreliable", 422, "Too little data for datums", "Fit a year of data, or ask with short_record."),
    Problem("unknown-name", 422, "A name that is not in its list", "The detail lists the names known."),
    Problem("record-not-recognised", 422, "No reader recognises the record", "Name the format with format=."),
    Problem("record-ambiguous", 422, "The record could be two things", "The detail names the hint that settles it."),
    Problem("record-unreadable", 422, "The record breaks its format", "The detail names the line and what is right."),
    Problem("file-unreadable", 422, "The file breaks its format", "The detail names the line and what is right."),
    Problem("record-hint-missing", 422, "The record leaves something open", "Give the hints that the detail names."),
    Problem("record-too-short", 422, "The record is too short for a fit", "Send a longer record."),
    Problem("record-constant", 422, "The level of the record never moves", "Send a record with a tide in it."),
    Problem(
        "record-of-turns",
        422,
        "The record holds high and low waters alone",
        "Send levels at even times, or name the constituents to fit.",
    ),
    Problem("unfit-neighbour", 422, "Nothing can be inferred from this station", "Name one of the same type of tide."),
    Problem("outside-ephemeris", 422, "No sun and moon at that time", "Ask for a time inside the span of the detail."),
    Problem("model-unreadable", 500, "A stored tide model is damaged", "Fit or make the station's model again."),
    Problem("not-found", 404, "No such thing", "Ids come from the lists; what is another account's is not found."),
    Problem("method-not-allowed", 405, "The path does not take this method", "The Allow header lists those it takes."),
    Problem("reference-taken", 409, "The external reference is another's", "Give another external_ref."),
    Problem("issue-taken", 409, "Another issue has this place, source and time",
            "Delete the one that is there first, or send what came later."),
    Problem("no-model", 409, "The station has no tide model yet", "Adopt a fit, or give the station constituents."),
    Problem("fit-not-checked", 409, "The record was not checked", "Wait for the fit, or fit it with quality=check."),
    Problem("fit-not-done", 409, "The fit has no model to adopt", "Wait until its state is done."),
    Problem("plan-not-done", 409, "The plan is not done", "Wait until its state is done; its marks are there earlier."),
    Problem("in-use", 409, "Others rest on it", "Change or delete the users that the answer lists, then try again."),
    Problem("idempotency-key-running", 409, "The same request is still being answered", "Send it again in a second."),
    Problem("idempotency-key-reused", 422, "The Idempotency-Key is another request's", "Give each request its own."),
    Problem("precondition-missing", 428, "The edit does not say what it edits",
            "Send If-Match with the ETag that a read gave, or * to edit whatever is there."),
    Problem("stale", 412, "The thing has changed since it was read", "Read it again and edit that."),
    Problem("not-owned", 403, "Another account's", "What is public can be read by all and changed by its account."),
    Problem("cursor-outdated", 410, "What the list rests on has changed", "Start again without a cursor."),
    Problem("cursor-gone", 410, "The cursor is newer than the store", "Read everything again from the start."),
    Problem("slack-undetermined", 409, "When the stream turns cannot be told",
            "The detail says what is missing: notes of both sides, or a longer record."),
    Problem("job-ended", 409, "The job has ended already", "Only a job that is queued or running can be cancelled."),
    Problem("store-conflict", 409, "Another write came first", "Read again, then try again."),
    Problem("body-unreadable", 400, "The body is no JSON document", "Send one JSON document in UTF-8, numbers finite."),
    Problem("bad-request", 400, "The request cannot be read", "The detail says what is wrong."),
    Problem("body-too-large", 413, "The body is too large", "The detail names the limit and its setting."),
    Problem("not-acceptable", 406, "No form that the Accept header takes", "available lists those that there are."),
    Problem("media-not-supported", 415, "The content type is not taken", "The detail lists those that are."),
    Problem("too-many-points", 422, "More values than one answer holds", "fitting_step_s is a step [s] that fits."),
    Problem("span-too-long", 422, "The span is longer than the limit", "Ask for a shorter span."),
    Problem("search-too-large", 422, "The search is over the limit", "Ask for fewer marks or rules, or fewer days."),
    Problem("too-many-rows", 422, "The file has more rows than one import takes", "Send the rest on its own."),
    Problem("too-many-values", 422, "The issue has more values than are kept of a place", "Send fewer times."),
    Problem("too-many-jobs", 429, "Too many jobs are waiting", "Wait until one ends, or cancel one."),
    Problem("cursor-invalid", 422, "The cursor is not of this list", "Start again without a cursor."),
    Problem("key-needed", 401, "An API key is needed", "Send one as Authorization: Bearer."),
    Problem("key-malformed", 401, "This is no API key", "Send the key as it was shown, in one Authorization header."),
    Problem("key-invalid", 401, "The API key is not valid", "It is not known, or was revoked; use another one."),
    Problem("key-expired", 401, "The API key has expired", "Use another one; `ebbmark keys create` makes it."),
    Problem("scope-needed", 403, "The API key is not good for this", "Use a key with the scope that is named."),
    Problem("too-many-requests", 429, "Too many requests", "Wait as long as Retry-After says."),
    Problem("not-local", 403, "Open mode serves this machine alone", "Call it as localhost, without a proxy."),
    Problem("not-ready", 503, "The service is not ready", "The detail says what is missing."),
    Problem("no-fonts", 503, "The machine has no fonts", "Install one, or ask for SVG."),
    Problem("store-unavailable", 503, "The store cannot be used now", "Try again; the log has the cause."),
    Problem("worker-lost", 500, "The worker process died in every attempt", "Give it less at once."),
    Problem("job-interrupted", 500, "The job was interrupted in every attempt", "Ask for the job again."),
    Problem("job-timed-out", 500, "The job ran too long", "Give it less at once, or raise EBBMARK_JOB_TIMEOUT_S."),
    Problem("job-broke", 500, "An unforeseen error inside the job", "The log has it under the id of the job."),
    Problem("record-lost", 500, "The uploaded record is gone", "Send the record again."),
    Problem("cluster-unreachable", 500, "The cluster cannot be used", "The detail names it and says why."),
    Problem("internal", 500, "An unforeseen error", "The log has it under the request id."),
)  # fmt: skip

#: Class of error -> slug; a class without an entry has that of its nearest base.
TABLE: Mapping[type[Exception], str] = {
    core_errors.InvalidInput: "invalid-input",
    core_errors.InvalidSpan: "invalid-span",
    core_errors.InvalidPosition: "invalid-position",
    core_errors.InvalidRule: "invalid-rule",
    core_errors.InvalidFilter: "invalid-filter",
    core_errors.InvalidConstituents: "invalid-constituents",
    core_errors.DatumConflict: "datum-conflict",
    core_errors.DatumUnknown: "datum-unknown",
    core_errors.DatumsUnreliable: "datums-unreliable",
    core_errors.PartsDisagree: "invalid-input",
    core_errors.UnknownName: "unknown-name",
    core_errors.RecordError: "record-unreadable",
    core_errors.RecordNotRecognised: "record-not-recognised",
    core_errors.RecordAmbiguous: "record-ambiguous",
    core_errors.RecordUnreadable: "record-unreadable",
    core_errors.RecordTooLarge: "body-too-large",
    core_errors.PartUnreadable: "record-unreadable",
    core_errors.HintMissing: "record-hint-missing",
    core_errors.FitError: "record-too-short",
    core_errors.RecordTooShort: "record-too-short",
    core_errors.RecordConstant: "record-constant",
    core_errors.RecordOfTurns: "record-of-turns",
    core_errors.SlackUndetermined: "slack-undetermined",
    core_errors.UnfitNeighbour: "unfit-neighbour",
    core_errors.ModelUnreadable: "model-unreadable",
    core_errors.OutsideEphemeris: "outside-ephemeris",
    service_errors.NotFound: "not-found",
    service_errors.ReferenceTaken: "reference-taken",
    service_errors.IssueTaken: "issue-taken",
    service_errors.NoModel: "no-model",
    service_errors.FitNotChecked: "fit-not-checked",
    service_errors.FitNotDone: "fit-not-done",
    service_errors.PlanNotDone: "plan-not-done",
    service_errors.InUse: "in-use",
    service_errors.KeyRunning: "idempotency-key-running",
    service_errors.KeyReused: "idempotency-key-reused",
    service_errors.PreconditionMissing: "precondition-missing",
    service_errors.Stale: "stale",
    service_errors.NotOwned: "not-owned",
    service_errors.CursorGone: "cursor-gone",
    service_errors.JobEnded: "job-ended",
    service_errors.StoreConflict: "store-conflict",
    service_errors.RequestUnreadable: "body-unreadable",
    service_errors.BodyTooDeep: "body-unreadable",
    service_errors.BodyTooLarge: "body-too-large",
    service_errors.MediaNotSupported: "media-not-supported",
    service_errors.NotAcceptable: "not-acceptable",
    service_errors.FileUnreadable: "file-unreadable",
    service_errors.DocumentInvalid: "invalid-input",
    service_errors.TooManyPoints: "too-many-points",
    service_errors.SpanTooLong: "span-too-long",
    service_errors.SearchTooLarge: "search-too-large",
    service_errors.TooManyRows: "too-many-rows",
    service_errors.TooManyValues: "too-many-values",
    service_errors.TooManyJobs: "too-many-jobs",
    service_errors.CursorInvalid: "cursor-invalid",
    service_errors.CursorOutdated: "cursor-outdated",
    service_errors.KeyNeeded: "key-needed",
    service_errors.KeyMalformed: "key-malformed",
    service_errors.KeyInvalid: "key-invalid",
    service_errors.KeyExpired: "key-expired",
    service_errors.ScopeNeeded: "scope-needed",
    service_errors.TooManyRequests: "too-many-requests",
    service_errors.NotLocal: "not-local",
    service_errors.StoreUnavailable: "store-unavailable",
    service_errors.SpoolUnavailable: "store-unavailable",
    service_errors.NotReady: "not-ready",
    service_errors.PortUnavailable: "not-ready",
    service_errors.SettingsInvalid: "not-ready",
    service_errors.NoFonts: "no-fonts",
    service_errors.WorkerLost: "worker-lost",
    service_errors.JobInterrupted: "job-interrupted",
    service_errors.JobTimedOut: "job-timed-out",
    service_errors.JobBroke: "job-broke",
    service_errors.RecordLost: "record-lost",
    service_errors.ClusterUnreachable: "cluster-unreachable",
}

_BY_CLASS_NAME = {kind.__name__: slug for kind, slug in TABLE.items()}


def problem_of(error: Exception) -> Problem:
    """Return the type of problem that an error is."""
    for kind in type(error).__mro__:
        if kind in TABLE:
            return PROBLEMS[TABLE[kind]]
    return PROBLEMS["internal"]


def problem_named(class_name: str) -> Problem:
    """Return the type of problem of a class of errors by the name it was stored under."""
    return PROBLEMS[_BY_CLASS_NAME.get(class_name, "internal")]
