"""Health in answers."""

from __future__ import annotations

from typing import Literal

from service.api.v1.schemas.common import Schema


class Live(Schema):
    """The process answers."""

    status: Literal["live"]


class Ready(Schema):
    """The service is ready; what was checked."""

    status: Literal["ready"]
    checks: dict[str, str]


class Versions(Schema):
    """Versions of the service, its numbers, Python and the libraries under it."""

    versions: dict[str, str]
