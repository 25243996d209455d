"""Queryables: the columns that filters may name."""

from __future__ import annotations

from collections.abc import Mapping

from tidecore.filters import Queryable, queryables


def list_queryables() -> Mapping[str, Queryable]:
    """Return what filters may name, by name: the time, and the factors in the order of the columns of a timeline."""
    return queryables()
