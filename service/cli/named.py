"""Marks and rules of the command line, by their ids or by what their account calls them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.security import Caller
from service.usecases.context import Context
from service.usecases.documents import Documents


def ids_of(
    context: Context, caller: Caller, documents: Documents[Any], names: Sequence[str] | None
) -> list[str] | None:
    """Return the ids of documents called by id or by their external reference; what nobody is called stays as it is."""
    if names is None:
        return None
    found = [documents.page(context, caller, None, 1, external_ref=name).items for name in names]
    return [items[0].record.id if items else name for name, items in zip(names, found, strict=True)]
