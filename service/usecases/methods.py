"""Methods: documents that rest on nothing else; trips may rest on them."""

from __future__ import annotations

from service.errors import InUse
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView, link_nothing
from tidecore.rules import Method

MethodView = DocumentView[Method]


def _release(_context: Context, unit: UnitOfWork, key: str) -> None:
    """Refuse to delete a method that a trip names by its id."""
    users = unit.trips.naming("method_ids", key, InUse.MOST_NAMED + 1)
    if users:
        raise InUse("method", key, users)


METHODS = Documents("method", "method", Method, lambda unit: unit.methods, link_nothing, _release)
