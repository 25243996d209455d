"""What a process does with garbage while it starts: nothing."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Collect no garbage while modules are imported, and look never again at what they made.

    That is a quarter of a million objects, all of which stay: to look through them again and again takes a quarter of
    the time of a start.
    """
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
        gc.freeze()
