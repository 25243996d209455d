"""Factors: the quantities that timelines hold and rules may name."""

from __future__ import annotations

from collections.abc import Sequence

from tidecore.timeline import Factor, factors


def list_factors() -> Sequence[Factor]:
    """Return every factor, in the order of the columns of a timeline."""
    return tuple(factors().values())
