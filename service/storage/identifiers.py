"""Opaque ids: a prefix for the kind, then 26 characters that sort by the time they were made."""

from __future__ import annotations

import re
import secrets
import time

_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
_TIME_BITS, _RANDOM_BITS = 48, 80
_RANDOM_BYTES = _RANDOM_BITS // 8
#: Ten bits at a time: half the steps.
_PAIRS = [first + second for first in _ALPHABET for second in _ALPHABET]
_SHIFTS = range(120, -1, -10)

#: Pattern of any id, for contracts and checks.
ID_PATTERN = r"^[a-z]{3}_[0-9a-z]{1,26}$"
_ID = re.compile(ID_PATTERN)


def new_id(prefix: str) -> str:
    """Return a new id of the kind that the three letters ``prefix`` stand for."""
    return new_ids(prefix, 1)[0]


def new_ids(prefix: str, count: int) -> list[str]:
    """Return ``count`` new ids of one kind, all of this moment."""
    moment = ((time.time_ns() // 1_000_000) & ((1 << _TIME_BITS) - 1)) << _RANDOM_BITS
    chance = secrets.token_bytes(count * _RANDOM_BYTES)
    ids = []
    for start in range(0, len(chance), _RANDOM_BYTES):
        number = moment | int.from_bytes(chance[start : start + _RANDOM_BYTES])
        ids.append(f"{prefix}_{''.join([_PAIRS[(number >> shift) & 1023] for shift in _SHIFTS])}")
    return ids


def is_id(text: str) -> bool:
    """Return whether ``text`` has the shape of an id."""
    return _ID.fullmatch(text) is not None
