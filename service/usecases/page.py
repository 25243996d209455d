"""One page of a list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Page(Generic[T]):
    """Items in the order of their ids; ``after`` is the id to go on from, None on the last page."""

    items: Sequence[T]
    after: str | None


def one_page(fetch: Callable[[int], Sequence[T]], limit: int, key: Callable[[T], str]) -> Page[T]:
    """Return a page of at most ``limit`` items; one more is fetched to know whether more follow."""
    items = fetch(limit + 1)
    if len(items) <= limit:
        return Page(items, None)
    return Page(items[:limit], key(items[limit - 1]))
