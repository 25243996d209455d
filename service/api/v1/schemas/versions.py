"""Versions of documents in answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.records import VersionRecord


class DocumentVersion(Schema):
    """A version that can be read, and since when there is one."""

    version: int
    created_at: InstantText


class DocumentVersionList(Schema):
    """Every version of a document, oldest first."""

    items: list[DocumentVersion]


def write_versions(versions: Sequence[VersionRecord]) -> dict[str, Any]:
    """Return versions as `DocumentVersionList` has them."""
    return {"items": [{"version": one.version, "created_at": write_instant(one.created_at)} for one in versions]}
