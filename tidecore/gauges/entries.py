"""Rows of documents that have no lines worth naming: an error counts the rows instead."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from tidecore.errors import RecordUnreadable


@contextmanager
def counted_rows() -> Iterator[None]:
    """Turn the line of a `RecordUnreadable` into the number of the row, for readers that pass 1, 2, 3... as lines."""
    try:
        yield
    except RecordUnreadable as error:
        if error.line is None:
            raise
        raise RecordUnreadable(f"row {error.line}: {error.reason}", None, error.expected) from error
