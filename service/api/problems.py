"""Errors as RFC 9457 problems: how an error is answered, by the table of its types."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, cast

import orjson
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from service import errors as service_errors
from service.api.places import holder_of, place_of
from service.api.problem_types import PROBLEMS, Problem, problem_named, problem_of
from service.errors import ServiceError
from service.logs import get_log
from service.security import KEY_LIKE
from tidecore import errors as core_errors
from tidecore.documents import PATTERN_WORDS, expected_by, fields_for, shown
from tidecore.errors import CoreError, Fault
from tidecore.rules import SpeciesRule

log = get_log("api")

MEDIA_TYPE = "application/problem+json"
#: More faults than this are counted, not listed.
MOST_FAULTS = 100


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
    "holder",
    "position",
    "known",
    "accepted",
    "available",
    "missing",
    "users",
    "scope",
    "retry_after_s",
)


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
        "instance": KEY_LIKE.sub("(hidden)", request.url.path),
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
    faults = _faults_of(request, error)
    data = {name: getattr(error, name) for name in _DATA if hasattr(error, name)}
    return render(request, problem, str(error), _listed(request, faults), data, _headers_of(error))


def _headers_of(error: Exception) -> dict[str, str]:
    """Return the headers of an answer whose values come from the error itself."""
    if isinstance(error, service_errors.ScopeNeeded):
        return {"WWW-Authenticate": f'{_CHALLENGE}, error="insufficient_scope", scope="{error.scope}"'}
    if isinstance(error, service_errors.TooManyRequests):
        return {"Retry-After": str(error.retry_after_s)}
    return {}


#: What the patterns of the contract ask for, in words.
PATTERNS = {
    **PATTERN_WORDS,
    r"^[1-9][0-9]{0,5}(s|min|h|d)$": "a whole number and s, min, h or d, as 10min",
    r"^[\x21-\x7e]+$": "letters, digits and signs of ASCII without a blank",
    r"^\+?[0-9][0-9 ()-]{1,22}$": "a number to call: digits, blanks, brackets and hyphens, a plus sign before them",
}


def answer_validation(request: Request, error: RequestValidationError) -> Response:
    """Return the answer to a request that does not fit the contract, or contradicts itself, with all its faults."""
    found = _without_consequences(error.errors())
    errors = []
    for detail in found[:MOST_FAULTS]:
        place, field, fault = _validation_fault(detail, _body_of(request))
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


def _faults_of(request: Request, error: Exception) -> Sequence[Fault]:
    if isinstance(error, core_errors.UnknownName) and (held := holder_of(request, error.name)) is not None:
        return (replace(error.faults[0], field=held[1]),)
    faults = getattr(error, "faults", ())
    if faults:
        return cast(Sequence[Fault], faults)
    if isinstance(error, service_errors.LimitExceeded):
        return (Fault(error.field, str(error), f"at most {error.limit:g}"),)
    if isinstance(error, service_errors.CursorInvalid):
        field = "after" if "after" in request.query_params else "cursor"
        return (Fault(field, "is none that this list gave", "one that it gave, or none to start again"),)
    if isinstance(error, service_errors.NotFound):
        held = holder_of(request, error.key)
        return () if held is None else (Fault(held[1], f"{error.key!r} is no {error.kind} here", error.expected),)
    return ()


def _listed(request: Request, faults: Sequence[Fault]) -> list[dict[str, Any]]:
    return [
        {"in": place_of(request, f.field), "field": f.field, "problem": f.problem, "expected": f.expected}
        for f in faults[:MOST_FAULTS]
    ]


def _without_consequences(found: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return findings without those that only follow from others: a list too short for what was wrong in it."""
    faulty = [tuple(detail["loc"]) for detail in found if detail["type"] != "too_short"]

    def follows(detail: Mapping[str, Any]) -> bool:
        place = tuple(detail["loc"])
        return detail["type"] == "too_short" and any(one[: len(place)] == place for one in faulty)

    return [detail for detail in found if not follows(detail)]


def _body_of(request: Request) -> object:
    """Return what the body of a request is checked by; None where it takes none."""
    body = getattr(request.scope.get("route"), "body_field", None)
    return None if body is None else body.field_info.annotation


def _validation_fault(detail: Mapping[str, Any], body: object) -> tuple[str, str, tuple[str, str]]:
    """Return where a finding is (query, path, header, body), its field, and problem and what is expected."""
    place, *path = detail["loc"]
    # The kind of a shape, or of a table of heights, is no step of the path that the caller wrote.
    kinded = SpeciesRule.kinded | getattr(body, "kinded", frozenset())
    steps = [part for before, part in pairwise(("", *path)) if before not in kinded]
    field = ".".join(_shown(part) for part in steps) or str(place)
    context, kind = detail.get("ctx", {}), detail["type"]
    if kind in ("fault", "misfit"):
        return str(place), field, (str(context["problem"]), str(context["expected"]))
    if kind == "missing":
        return str(place), field, ("is missing", "a value")
    if kind == "extra_forbidden":
        return str(place), field, ("is not known here", fields_for(body if place == "body" else None, path))
    if kind in ("model_attributes_type", "dict_type", "model_type"):
        return str(place), field, ("is no object", "a JSON object")
    if kind.startswith("union_tag"):
        return str(place), f"{field}.kind", ("is missing or unknown", f"one of {context.get('expected_tags', '')}")
    return str(place), field, (f"is {shown(detail['input'])}", expected_by(detail, PATTERNS))


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
