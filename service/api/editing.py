"""Edits: what a caller must say it edits, merge patches, and answers that may be given twice."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from typing import Annotated, Any, TypeVar

import orjson
from fastapi import Body, Depends, Header, Request
from fastapi.responses import Response

from service.api.media import receive_record
from service.errors import DocumentInvalid, PreconditionMissing
from service.usecases.fits import Upload
from service.usecases.once import Answered, Once
from tidecore.errors import Fault

MERGE_PATCH = "application/merge-patch+json"

#: Problems of an edit, and of a request that may be sent again.
EDIT = ("precondition-missing", "stale", "store-conflict")
ONCE = ("idempotency-key-reused", "idempotency-key-running")

T = TypeVar("T")

_ETAG = re.compile(r'(W/)?"([\x21\x23-\x7e\x80-\xff]*)"')

#: A JSON Merge Patch: members given replace those that are there, null removes one.
MergePatch = Annotated[
    dict[str, Any],
    Body(
        media_type=MERGE_PATCH,
        description="A JSON Merge Patch (RFC 7396): members given replace those there are, null takes one away.",
    ),
]


class IfMatch:
    """The entity tags of an If-Match; ``any`` stands for whatever is there."""

    def __init__(self, tags: frozenset[str] | None) -> None:
        """Hold the strong ``tags``, None for any."""
        self._tags = tags

    @property
    def any(self) -> bool:
        """Whether a thing may be edited as it is, whatever it is."""
        return self._tags is None

    def allows(self, etag: str) -> bool:
        """Return whether a thing with this strong ``etag`` may be edited."""
        return self._tags is None or etag in self._tags


def read_if_match(header: str) -> IfMatch:
    """Return what an If-Match says; weak tags match nothing here.

    Raises
    ------
    DocumentInvalid
        If it is neither ``*`` nor a list of entity tags.
    """
    text = header.strip()
    if text == "*":
        return IfMatch(None)
    tags, at = set(), 0
    while at < len(text):
        match = _ETAG.match(text, at)
        if match is None:
            break
        if match[1] is None:
            tags.add(f'"{match[2]}"')
        rest = text[match.end() :].lstrip(" \t")
        if rest and not rest.startswith(","):
            break
        at = len(text) - len(rest.lstrip(", \t"))
        if not rest:
            return IfMatch(frozenset(tags))
    raise DocumentInvalid(Fault("If-Match", "is no list of entity tags", 'the ETag of a read, as "...", or *'))


_IF_MATCH = Header(
    alias="If-Match",
    max_length=1000,
    description="The ETag that a read gave, so that no edit of somebody else is lost; `*` edits whatever is there.",
    examples=["*"],
)


async def if_match_of(if_match: Annotated[str | None, _IF_MATCH] = None) -> IfMatch:
    """Return what an edit must find; PreconditionMissing if it does not say."""
    if if_match is None:
        raise PreconditionMissing
    return read_if_match(if_match)


async def if_match_or_none(if_match: Annotated[str | None, _IF_MATCH] = None) -> IfMatch | None:
    """Return what an edit must find, None where it does not say."""
    return None if if_match is None else read_if_match(if_match)


#: The key of a request that may be sent again.
IdempotencyKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=255,
        pattern=r"^[\x21-\x7e]+$",
        description="The same key with the same request is answered as before, and done once; kept for 7 days.",
        examples=["6f1c2a54-8a0e-4a63-9d52-0f2b7f0d9a11"],
    ),
]


async def once_of(request: Request, idempotency_key: IdempotencyKey = None) -> Once:
    """Return the key of a request, and the fingerprint of all that it asks."""
    return Once(idempotency_key, fingerprint(request, await request.body()))


async def once_of_record(
    request: Request, record: Annotated[Upload, Depends(receive_record)], idempotency_key: IdempotencyKey = None
) -> Once:
    """Return the same of a request whose body is a record: its hash stands for the bytes, which were streamed."""
    return Once(idempotency_key, fingerprint(request, record.sha256.encode()))


async def once_of_deed(request: Request, idempotency_key: IdempotencyKey = None) -> Once:
    """Return the same of a request that takes no body: none is read, and none tells two requests apart."""
    return Once(idempotency_key, fingerprint(request, b""))


def fingerprint(request: Request, body: bytes) -> str:
    """Return a hash of method, path, query and body."""
    query = "&".join(sorted(f"{name}={value}" for name, value in request.query_params.multi_items()))
    asked = "\n".join((request.method, request.url.path, query)).encode()
    return hashlib.sha256(asked + b"\n" + body).hexdigest()


IfMatchDep = Annotated[IfMatch, Depends(if_match_of)]
IfMatchOrNone = Annotated[IfMatch | None, Depends(if_match_or_none)]
OnceDep = Annotated[Once, Depends(once_of)]
OnceOfRecord = Annotated[Once, Depends(once_of_record)]
OnceOfDeed = Annotated[Once, Depends(once_of_deed)]


def merge_patch(target: Any, patch: Any) -> Any:
    """Return ``target`` with a merge ``patch`` applied, as RFC 7396 section 2 has it."""
    if not isinstance(patch, Mapping):
        return patch
    merged = dict(target) if isinstance(target, Mapping) else {}
    for name, value in patch.items():
        if value is None:
            merged.pop(name, None)
        else:
            merged[name] = merge_patch(merged.get(name), value)
    return merged


def seen(if_match: IfMatch, etag: Callable[[T], str]) -> Callable[[T], bool] | None:
    """Return whether a thing with the ``etag`` it is shown with may be edited; None where any may."""
    return None if if_match.any else lambda shown: if_match.allows(etag(shown))


def patch_example(example: Mapping[str, Any]) -> dict[str, Any]:
    """Return the addition to the contract that shows a merge patch."""
    return {"requestBody": {"content": {MERGE_PATCH: {"example": dict(example)}}}}


def written(document: Any, status: int, headers: Mapping[str, str] | None = None) -> Answered:
    """Return a document as an answer that can be kept."""
    return Answered(status, headers or {}, orjson.dumps(document))


def respond(answered: Answered) -> Response:
    """Return the HTTP answer of one that can be kept."""
    return Response(answered.content, answered.status, dict(answered.headers), "application/json")


def gone() -> Response:
    """Return the answer to a deletion."""
    return Response(status_code=204)
