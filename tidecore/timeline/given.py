"""Where the values that a caller gave come from, and why some are missing, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tidecore.conditions import Basis

if TYPE_CHECKING:
    from tidecore.timeline.sources import Sources

#: The provenance of every factor that rests on conditions, where none were given.
NOT_GIVEN = "forecasts and observations from the caller"
_NONE = "from the caller: not given"
_WHY_NONE = "no forecast or observation was given"


def rests_on(sources: Sources, variables: Sequence[str]) -> str:
    """Return which issues of which sources the factors of some variables rest on, over the span of a timeline."""
    if sources.conditions is None:
        return _NONE
    uses = [use for name in variables for use in sources.conditions.basis(name, sources.span).uses]
    called = dict.fromkeys(use.called for use in uses)
    return "; ".join(called) if called else f"{NOT_GIVEN}: none in this span"


def why_unknown(sources: Sources, variables: Sequence[str], facing: bool = False, past: str = "") -> str:
    """Return what is missing of some variables over the span of a timeline.

    ``facing`` of a factor that needs to know where the mark faces. ``past`` of one that looks back: what is not known
    where the variables themselves are.
    """
    if facing and sources.mark.facing_degree is None:
        return "the mark does not say in which direction it faces"
    if sources.conditions is None:
        return _WHY_NONE
    bases = [sources.conditions.basis(name, sources.span) for name in variables]
    missing = [sentence for basis in bases for sentence in basis.missing()]
    if past and any(basis.uses for basis in bases):
        missing.append(f"{past} a part of the span: {_known_from(bases)}")
    return "; ".join(dict.fromkeys(missing)) or "it is known over the whole span"


def _known_from(bases: Sequence[Basis]) -> str:
    """Return the issues in use, in words."""
    called = dict.fromkeys(use.called for basis in bases for use in basis.uses)
    return f"it rests on {', '.join(called)}"
