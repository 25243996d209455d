"""What a filter may name: the time, and every factor of a timeline."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tidecore.timeline import Factor, factors

QueryableKind = Literal["number", "category", "boolean", "time"]
#: The name of the time of an instant.
TIME = "time"


@dataclass(frozen=True, slots=True)
class Queryable:
    """A column that a filter may name; fields as those of `tidecore.timeline.Factor`."""

    name: str
    group: str
    kind: QueryableKind
    unit: str
    categories: tuple[str, ...]
    meaning: str
    provenance: str

    @classmethod
    def of(cls, factor: Factor) -> Queryable:
        """Return what a filter needs to know of a factor."""
        return cls(
            factor.name,
            factor.group,
            factor.kind,
            factor.unit,
            factor.categories,
            factor.meaning,
            factor.provenance,
        )

    def __str__(self) -> str:
        """Say what it is."""
        if self.kind == "number":
            unit = "without a unit" if self.unit in ("", "1") else f"in {self.unit}"
            return f"{self.name} is a number {unit}"
        if self.kind == "category":
            return f"{self.name} is one of {', '.join(map(repr, self.categories))}"
        return f"{self.name} is {'true or false' if self.kind == 'boolean' else 'a time'}"


_INSTANT = Queryable(TIME, "time", "time", "", (), "Instant of the row [UTC].", "The axis of the timeline.")


def queryables() -> Mapping[str, Queryable]:
    """Return what a filter may name, by name: the time first, then the factors in their order."""
    return {TIME: _INSTANT} | {name: Queryable.of(factor) for name, factor in factors().items()}
