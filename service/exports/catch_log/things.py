"""What is exported: trips and diary rows as they are stored, each with its mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class MarkPlace:
    """What an export says of a mark: where it is [degrees], its clock, and its name where names are asked for."""

    key: str
    external_ref: str | None
    name: str
    latitude: float
    longitude: float
    time_zone: str

    @property
    def reference(self) -> str:
        """What an import finds the mark by: the account's own name for it where it has one."""
        return self.key if self.external_ref is None else self.external_ref


@dataclass(frozen=True, slots=True)
class Logged:
    """A trip or a diary row: its document as it is stored, and its mark."""

    key: str
    external_ref: str | None
    version: int
    updated_at: datetime
    document: Mapping[str, Any]
    mark: MarkPlace

    @property
    def reference(self) -> str:
        """What an import knows it by."""
        return self.key if self.external_ref is None else self.external_ref
