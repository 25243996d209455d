"""Opaque ids: a prefix for the kind, then 26 characters that sort by the time they were made."""

from __future__ import annotations

import re
import secrets
import time

_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
_TIME_BITS, _RANDOM_CHARACTERS = 48, 16
#: Each of 256 bytes as one of 32 characters, which come equally often.
_CHARACTERS = (_ALPHABET * 8).encode()
_SHIFTS = range(45, -1, -5)

#: Pattern of any id, for contracts and checks.
ID_PATTERN = r"^[a-z]{3}_[0-9a-z]{1,26}$"
_ID = re.compile(ID_PATTERN)


def new_id(prefix: str) -> str:
    """Return a new id of the kind that the three letters ``prefix`` stand for."""
    return new_ids(prefix, 1)[0]


def new_ids(prefix: str, count: int) -> list[str]:
    """Return ``count`` new ids of one kind, all of this moment."""
    moment = (time.time_ns() // 1_000_000) & ((1 << _TIME_BITS) - 1)
    first = f"{prefix}_{''.join(_ALPHABET[(moment >> shift) & 31] for shift in _SHIFTS)}"
    chance = secrets.token_bytes(count * _RANDOM_CHARACTERS).translate(_CHARACTERS).decode()
    return [first + chance[start : start + _RANDOM_CHARACTERS] for start in range(0, len(chance), _RANDOM_CHARACTERS)]


def is_id(text: str) -> bool:
    """Return whether ``text`` has the shape of an id."""
    return _ID.fullmatch(text) is not None
