"""Issues of conditions: forecasts and observations of sea and air, of a mark or of an area."""

from __future__ import annotations

from collections.abc import Sequence

from service.errors import TooManyValues
from service.security import Caller
from service.storage.records import ConditionRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.once import Keep, keep_nothing
from service.usecases.placed import Kept, Place, Placed, PlacedView, Told
from service.usecases.stale_joins import conditions_told
from tidecore.conditions import ConditionIssue

ConditionView = PlacedView[ConditionRecord]
KeptIssues = Sequence[Kept[ConditionRecord]]


def _excess(context: Context, there: Sequence[ConditionRecord]) -> list[ConditionRecord]:
    """Return the issues of a place that are too many: the oldest, by number and by their values."""
    newest = sorted(there, key=lambda one: (one.issued_at, one.created_at, one.id), reverse=True)
    most, values, kept = context.settings.max_condition_issues, context.settings.max_condition_values, 0
    for place, one in enumerate(newest):
        kept += one.points
        if place >= most or kept > values:
            return newest[place:]
    return []


def _rejoin(context: Context, unit: UnitOfWork, record: ConditionRecord) -> None:
    """Have trips joined anew of whose time an issue tells."""
    conditions_told(unit, record.mark_id, record.starts_at, record.ends_at, context.clock())


CONDITIONS = Placed("condition", "condition", lambda unit: unit.conditions, _excess, _rejoin)


def take_conditions(
    context: Context,
    caller: Caller,
    place: Place,
    issues: Sequence[ConditionIssue],
    keep: Keep[KeptIssues] = keep_nothing,
) -> KeptIssues:
    """Keep issues of a place, all or none; the very same once more is the one that is there.

    Raises
    ------
    DocumentInvalid, NotFound
        If the place is none, or its mark is not there.
    TooManyValues
        If an issue has more values than are kept of a place.
    IssueTaken
        If an issue of the place with the same kind, source and issue time says something else.
    """
    limit = context.settings.max_condition_values
    told = [_told(issue) for issue in issues]
    for one in told:
        if one.columns["points"] > limit:
            raise TooManyValues(one.columns["points"], limit)
    with context.store.unit(caller.account_id, writes=True) as unit:
        place.check(context, unit, needed=True)
        kept = [CONDITIONS.keep(context, unit, place, one) for one in told]
        for made in kept:
            if made.made:
                _rejoin(context, unit, made.view.record)
        keep(unit, kept)
        unit.commit()
    return kept


def _told(issue: ConditionIssue) -> Told[ConditionRecord]:
    kind, source, issued_at, given = issue.kind, issue.source, issue.issued_at, issue.values.given()
    return Told(
        issue.to_document(),
        {"variables": list(given), "waves_at": issue.waves_at},
        {
            "kind": kind,
            "source": source,
            "issued_at": issued_at,
            "valid_until": issue.valid_until,
            "starts_at": issue.times[0],
            "ends_at": issue.times[-1],
            "points": len(issue.times) * len(given),
        },
        lambda one: (one.kind, one.source, one.issued_at) == (kind, source, issued_at),
        f"the {kind} of {source!r} issued at {issued_at:%Y-%m-%dT%H:%M:%SZ}",
    )
