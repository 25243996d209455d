"""Official warnings: alerts of the Common Alerting Protocol, of a mark, of an area, or of where they say."""

from __future__ import annotations

from collections.abc import Sequence

from service.security import Caller
from service.storage.records import WarningRecord
from service.usecases.context import Context
from service.usecases.once import Keep, keep_nothing
from service.usecases.placed import Kept, Place, Placed, PlacedView, Told
from tidecore.conditions import OfficialWarning

WarningView = PlacedView[WarningRecord]
KeptWarnings = Sequence[Kept[WarningRecord]]


def _excess(context: Context, there: Sequence[WarningRecord]) -> list[WarningRecord]:
    """Return the warnings of a place that are too many: those sent first."""
    newest = sorted(there, key=lambda one: (one.sent_at, one.created_at, one.id), reverse=True)
    return newest[context.settings.max_condition_issues :]


WARNINGS = Placed("warning", "warning", lambda unit: unit.warnings, _excess)


def take_warnings(
    context: Context,
    caller: Caller,
    place: Place,
    warnings: Sequence[OfficialWarning],
    keep: Keep[KeptWarnings] = keep_nothing,
) -> KeptWarnings:
    """Keep warnings of a place, all or none; the very same once more is the one that is there.

    Raises
    ------
    DocumentInvalid, NotFound
        If the place is two, or none though the alert draws no area of its own, or its mark is not there.
    IssueTaken
        If a warning of the place with the same identifier, sender and time says something else.
    """
    told = [_told(warning) for warning in warnings]
    with context.store.unit(caller.account_id, writes=True) as unit:
        place.check(context, unit, needed=not all(_says_where(warning) for warning in warnings))
        kept = [WARNINGS.keep(context, unit, place, one) for one in told]
        keep(unit, kept)
        unit.commit()
    return kept


def _says_where(warning: OfficialWarning) -> bool:
    """Return whether a warning tells where it holds; one that takes another back holds where that did."""
    return warning.msg_type == "cancel" or any(area.is_drawn for area in warning.areas)


def _told(warning: OfficialWarning) -> Told[WarningRecord]:
    told = (warning.identifier, warning.sender, warning.sent, warning.block)
    # What takes the place of another counts for as long as that one would, and does not say how long that is.
    ends_at = warning.in_force_until if warning.msg_type == "alert" else None
    return Told(
        warning.to_document(),
        {"block": warning.block, "msg_type": warning.msg_type, "event": warning.event, "severity": warning.severity},
        {"identifier": warning.identifier, "sender": warning.sender, "sent_at": warning.sent, "ends_at": ends_at},
        lambda one: (one.identifier, one.sender, one.sent_at, one.summary["block"]) == told,
        f"the identifier {warning.identifier!r} of {warning.sender!r} of {warning.sent:%Y-%m-%dT%H:%M:%SZ}",
    )
