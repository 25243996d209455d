"""Errors as RFC 9457 problems: the one table of types and status codes, and the handlers that use it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, cast

import orjson
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from service import errors as service_errors
from service.errors import ServiceError
from service.logs import get_log
from tidecore import errors as core_errors
from tidecore.errors import CoreError, Fault
from tidecore.rules import SpeciesRule

log = get_log("api")

MEDIA_TYPE = "application/problem+json"
#: More faults than this are counted, not listed.
MOST_FAULTS = 100


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
    Problem("invalid-constituents", 422, "Constituents that make no tide",
            "Amplitudes are 0 or more metres, phases degrees, names those of the convention."),
    Problem("unknown-name", 422, "A name that is not in its list", "The detail lists the names known."),
    Problem("record-not-recognised", 422, "No reader recognises the record", "Name the format with format=."),
    Problem("record-ambiguous", 422, "The record could be two things", "The detail names the hint that settles it."),
    Problem("record-unreadable", 422, "The record breaks its format", "The detail names the line and what is right."),
    Problem("file-unreadable", 422, "The file breaks its format", "The detail names the line and what is right."),
    Problem("record-hint-missing", 422, "The record leaves something open", "Give the hint that the detail names."),
    Problem("record-too-short", 422, "The record is too short for a fit", "Send a longer record."),
    Problem("record-constant", 422, "The level of the record never moves", "Send a record with a tide in it."),
    Problem("outside-ephemeris", 422, "No sun and moon at that time", "Ask for a time inside the span of the detail."),
    Problem("model-unreadable", 500, "A stored tide model is damaged", "Fit or make the station's model again."),
    Problem("not-found", 404, "No such thing", "Ids come from the lists; what is another account's is not found."),
    Problem("method-not-allowed", 405, "The path does not take this method", "The Allow header lists those it takes."),
    Problem("reference-taken", 409, "The external reference is another's", "Give another external_ref."),
    Problem("no-model", 409, "The station has no tide model yet", "Adopt a fit, or give the station constituents."),
    Problem("fit-not-done", 409, "The fit has no model to adopt", "Wait until its state is done."),
    Problem("in-use", 409, "Others rest on it", "Change or delete the users that the answer lists, then try again."),
    Problem("idempotency-key-running", 409, "The same request is still being answered", "Send it again in a second."),
    Problem("idempotency-key-reused", 422, "The Idempotency-Key is another request's", "Give each request its own."),
    Problem("precondition-missing", 428, "The edit does not say what it edits",
            "Send If-Match with the ETag that a read gave, or * to edit whatever is there."),
    Problem("stale", 412, "The thing has changed since it was read", "Read it again and edit that."),
    Problem("not-owned", 403, "Another account's", "What is public can be read by all and changed by its account."),
    Problem("cursor-gone", 410, "The cursor is newer than the store", "Read everything again from the start."),
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
    Problem("store-unavailable", 503, "The store cannot be used now", "Try again; the log has the cause."),
    Problem("worker-lost", 500, "The worker process died in every attempt", "Give it less at once."),
    Problem("job-interrupted", 500, "The job was interrupted in every attempt", "Ask for the job again."),
    Problem("job-timed-out", 500, "The job ran too long", "Give it less at once, or raise EBBMARK_JOB_TIMEOUT_S."),
    Problem("job-broke", 500, "An unforeseen error inside the job", "The log has it under the id of the job."),
    Problem("record-lost", 500, "The uploaded record is gone", "Send the record again."),
    Problem("internal", 500, "An unforeseen error", "The log has it under the request id."),
)  # fmt: skip

#: Class of error -> slug; a class without an entry has that of its nearest base.
TABLE: Mapping[type[Exception], str] = {
    core_errors.InvalidInput: "invalid-input",
    core_errors.InvalidSpan: "invalid-span",
    core_errors.InvalidPosition: "invalid-position",
    core_errors.InvalidRule: "invalid-rule",
    core_errors.InvalidConstituents: "invalid-constituents",
    core_errors.PartsDisagree: "invalid-input",
    core_errors.UnknownName: "unknown-name",
    core_errors.RecordError: "record-unreadable",
    core_errors.RecordNotRecognised: "record-not-recognised",
    core_errors.RecordAmbiguous: "record-ambiguous",
    core_errors.RecordUnreadable: "record-unreadable",
    core_errors.RecordTooLarge: "body-too-large",
    core_errors.HintMissing: "record-hint-missing",
    core_errors.FitError: "record-too-short",
    core_errors.RecordTooShort: "record-too-short",
    core_errors.RecordConstant: "record-constant",
    core_errors.ModelUnreadable: "model-unreadable",
    core_errors.OutsideEphemeris: "outside-ephemeris",
    service_errors.NotFound: "not-found",
    service_errors.ReferenceTaken: "reference-taken",
    service_errors.NoModel: "no-model",
    service_errors.FitNotDone: "fit-not-done",
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
    service_errors.TooManyJobs: "too-many-jobs",
    service_errors.CursorInvalid: "cursor-invalid",
    service_errors.KeyNeeded: "key-needed",
    service_errors.KeyMalformed: "key-malformed",
    service_errors.KeyInvalid: "key-invalid",
    service_errors.KeyExpired: "key-expired",
    service_errors.ScopeNeeded: "scope-needed",
    service_errors.TooManyRequests: "too-many-requests",
    service_errors.NotLocal: "not-local",
    service_errors.StoreUnavailable: "store-unavailable",
    service_errors.NotReady: "not-ready",
    service_errors.PortUnavailable: "not-ready",
    service_errors.WorkerLost: "worker-lost",
    service_errors.JobInterrupted: "job-interrupted",
    service_errors.JobTimedOut: "job-timed-out",
    service_errors.JobBroke: "job-broke",
    service_errors.RecordLost: "record-lost",
}

_BY_CLASS_NAME = {kind.__name__: slug for kind, slug in TABLE.items()}
_BY_STATUS = {400: "bad-request", 404: "not-found", 405: "method-not-allowed", 413: "body-too-large"}
_CHALLENGE = 'Bearer realm="ebbmark"'
_HEADERS: Mapping[str, Mapping[str, str]] = {
    # RFC 6750: no error code where the request carries no key at all.
    "key-needed": {"WWW-Authenticate": _CHALLENGE},
    "key-malformed": {"WWW-Authenticate": f'{_CHALLENGE}, error="invalid_token"'},
    "key-invalid": {"WWW-Authenticate": f'{_CHALLENGE}, error="invalid_token"'},
    "key-expired": {"WWW-Authenticate": f'{_CHALLENGE}, error="invalid_token"'},
    "too-many-jobs": {"Retry-After": "10"},
    "idempotency-key-running": {"Retry-After": "1"},
    "store-unavailable": {"Retry-After": "1"},
}
#: What errors carry that goes into the problem as it is.
_DATA = (
    "limit",
    "setting",
    "points",
    "fitting_step_s",
    "limit_days",
    "line",
    "known",
    "accepted",
    "available",
    "missing",
    "users",
    "scope",
    "retry_after_s",
)


def problem_of(error: Exception) -> Problem:
    """Return the type of problem that an error is."""
    for kind in type(error).__mro__:
        if kind in TABLE:
            return PROBLEMS[TABLE[kind]]
    return PROBLEMS["internal"]


def problem_named(class_name: str) -> Problem:
    """Return the type of problem of a class of errors by the name it was stored under."""
    return PROBLEMS[_BY_CLASS_NAME.get(class_name, "internal")]


def stored_problem(stored: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Return the problem of a stored error, without a status: it is no answer's."""
    if stored is None:
        return None
    problem = problem_named(str(stored.get("error", "")))
    return {
        "type": problem.type,
        "title": problem.title,
        "detail": str(stored.get("detail", problem.title)),
        "errors": list(stored.get("faults", ())),
    }


def render(request: Request, problem: Problem, detail: str, errors: Iterable[Mapping[str, Any]] = (),
           data: Mapping[str, Any] | None = None, headers: Mapping[str, str] | None = None) -> Response:  # fmt: skip
    """Return the answer that says a problem."""
    document = {
        "type": problem.type,
        "title": problem.title,
        "status": problem.status,
        "detail": detail,
        "instance": request.url.path,
        "request_id": getattr(request.state, "request_id", None),
        "errors": list(errors),
        **(data or {}),
    }
    content = orjson.dumps(_storable(document))
    return Response(content, problem.status, {**_HEADERS.get(problem.slug, {}), **(headers or {})}, MEDIA_TYPE)


def answer_error(request: Request, error: Exception) -> Response:
    """Return the answer to a domain error."""
    problem = problem_of(error)
    if problem.status >= 500:
        # The sentence of what is wrong with a thing may hold what is private; that of what is not there does not.
        reason = str(error) if isinstance(error, service_errors.Unavailable) else None
        log.error("request_failed", problem=problem.slug, error=type(error).__name__, reason=reason)
    faults = _faults_of(error)
    data = {name: getattr(error, name) for name in _DATA if hasattr(error, name)}
    return render(request, problem, str(error), _listed(faults, None), data, _headers_of(error))


def _headers_of(error: Exception) -> dict[str, str]:
    """Return the headers of an answer whose values come from the error itself."""
    if isinstance(error, service_errors.ScopeNeeded):
        return {"WWW-Authenticate": f'{_CHALLENGE}, error="insufficient_scope", scope="{error.scope}"'}
    if isinstance(error, service_errors.TooManyRequests):
        return {"Retry-After": str(error.retry_after_s)}
    return {}


def answer_validation(request: Request, error: RequestValidationError) -> Response:
    """Return the answer to a request that does not fit the contract, or contradicts itself, with all its faults."""
    found = _without_consequences(error.errors())
    errors = []
    for detail in found[:MOST_FAULTS]:
        place, field, fault = _validation_fault(detail)
        errors.append({"in": place, "field": field, "problem": fault[0], "expected": fault[1]})
    told = "; ".join(f"{one['field']}: {one['problem']}, expected {one['expected']}" for one in errors[:5])
    more = f"; and {len(found) - 5} more" if len(found) > 5 else ""
    # What a schema cannot say, the validators of the documents do: such a request fits the contract and is wrong.
    fits = all(detail["type"] == "fault" for detail in found)
    return render(request, PROBLEMS["invalid-input" if fits else "invalid-request"], told + more, errors)


def answer_http(request: Request, error: HTTPException) -> Response:
    """Return the answer to what the framework refuses."""
    problem = PROBLEMS[_BY_STATUS.get(error.status_code, "internal" if error.status_code >= 500 else "bad-request")]
    headers = dict(error.headers or {})
    if error.status_code == 405:
        methods = allowed_methods(request.app, request.url.path)
        headers["Allow"] = ", ".join(methods)
        return render(request, problem, f"{request.method} is not taken here; expected {headers['Allow']}", (),
                      None, {"Allow": headers["Allow"]})  # fmt: skip
    if error.status_code == 404:
        return render(request, problem, "there is nothing at this path; GET /openapi.json lists the paths there are")
    return render(request, problem, str(error.detail), (), None, headers)


def answer_unforeseen(request: Request, error: Exception) -> Response:
    """Return the answer to an error that nobody foresaw; its inside goes to the log alone."""
    log.exception("unforeseen", exc_info=error)
    return render(request, PROBLEMS["internal"], "an unforeseen error; the log has it under the request id")


def allowed_methods(app: FastAPI, path: str) -> Sequence[str]:
    """Return the methods that are taken at ``path``, HEAD with every GET."""
    found: frozenset[str] = next((taken for pattern, taken in app.state.methods() if pattern.match(path)), frozenset())
    return sorted(found | ({"HEAD"} if "GET" in found else set()))


def install_handlers(app: FastAPI) -> None:
    """Make every error of ``app`` that is foreseen a problem; the guard takes the others."""
    handlers: Mapping[type[Exception], Any] = {
        CoreError: answer_error,
        ServiceError: answer_error,
        RequestValidationError: answer_validation,
        HTTPException: answer_http,
    }
    for kind, handler in handlers.items():
        app.add_exception_handler(kind, cast(Any, _asynchronous(handler)))


def _asynchronous(handler: Any) -> Any:
    """Return a coroutine of a handler, so that it runs on the loop: making a few bytes is no work for a thread."""

    async def answer(request: Request, error: Exception) -> Response:
        return cast(Response, handler(request, error))

    return answer


def _faults_of(error: Exception) -> Sequence[Fault]:
    faults = getattr(error, "faults", ())
    if faults:
        return cast(Sequence[Fault], faults)
    if isinstance(error, service_errors.LimitExceeded):
        return (Fault(error.field, str(error), f"at most {error.limit:g}"),)
    if isinstance(error, core_errors.UnknownName):
        return (Fault(error.kind, f"{error.name!r} is not known", f"one of: {', '.join(error.known[:40])}"),)
    return ()


def _listed(faults: Sequence[Fault], place: str | None) -> list[dict[str, Any]]:
    return [{"in": place, "field": f.field, "problem": f.problem, "expected": f.expected} for f in faults[:MOST_FAULTS]]


def _without_consequences(found: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return findings without those that only follow from others: a list too short for what was wrong in it."""
    faulty = [tuple(detail["loc"]) for detail in found if detail["type"] == "fault"]

    def follows(detail: Mapping[str, Any]) -> bool:
        place = tuple(detail["loc"])
        return detail["type"] == "too_short" and any(one[: len(place)] == place for one in faulty)

    return [detail for detail in found if not follows(detail)]


def _validation_fault(detail: Mapping[str, Any]) -> tuple[str, str, tuple[str, str]]:
    """Return where a finding is (query, path, header, body), its field, and problem and what is expected."""
    place, *path = detail["loc"]
    # The kind of a shape is no step of the path that the caller wrote.
    steps = [part for before, part in pairwise(("", *path)) if before not in SpeciesRule.kinded]
    field = ".".join(_shown(part) for part in steps) or str(place)
    context, kind, message = detail.get("ctx", {}), detail["type"], str(detail["msg"])
    if kind in ("fault", "misfit"):
        return str(place), field, (str(context["problem"]), str(context["expected"]))
    if kind == "missing":
        return str(place), field, ("is missing", "a value")
    if kind == "extra_forbidden":
        return str(place), field, ("is not known here", "no such field")
    if kind in ("model_attributes_type", "dict_type", "model_type"):
        return str(place), field, ("is no object", "a JSON object")
    if kind.startswith("union_tag"):
        return str(place), f"{field}.kind", ("is missing or unknown", f"one of {context.get('expected_tags', '')}")
    expected = message.removeprefix("Input should be ").removeprefix("Value error, ")
    return str(place), field, (f"does not fit ({kind})", expected[:1].lower() + expected[1:])


def _shown(part: object) -> str:
    text = str(part)
    return text if text.replace("-", "_").isidentifier() or text.isdecimal() else ascii(text)[:60]


def _storable(value: Any) -> Any:
    """Return ``value`` with lone surrogates and control characters made visible, so that it is JSON."""
    if isinstance(value, str):
        return "".join(c if c.isprintable() or c == "\n" else f"\\u{ord(c):04x}" for c in value)
    if isinstance(value, Mapping):
        return {key: _storable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_storable(item) for item in value]
    return value
