"""Long runs in parts, each with a seed of its own: what was done need not be done again."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable


def run_parts(name: str, parts: int, first: int, limit_s: float, do: Callable[[int], tuple[str, int]]) -> bool:
    """Do parts ``first`` to ``parts``, and print what each says; return whether all were done within ``limit_s``.

    ``do`` takes the number of a part, and returns a line about it and how many things it tried; it raises if one of
    them failed.
    """
    began, tried = time.monotonic(), 0
    for part in range(first, parts + 1):
        if time.monotonic() - began > limit_s:
            sys.stdout.write(f"{name}: {limit_s:.0f} s are over; go on with ARGS={name}={part}\n")
            return False
        try:
            line, count = do(part)
        except Exception:
            sys.stdout.write(f"{name}: part {part} of {parts} failed; once more with ARGS={name}={part}\n")
            raise
        tried += count
        sys.stdout.write(f"{name} {part}/{parts}: {line}\n")
        sys.stdout.flush()
    sys.stdout.write(f"{name}: {tried} in {time.monotonic() - began:.0f} s, from part {first} to {parts}\n")
    return True
