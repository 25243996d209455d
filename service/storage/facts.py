"""Joins of trips and their counts as bytes, and back: compressed JSON, and arrays of 8-byte integers."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from functools import lru_cache
from typing import Any

import numpy as np
import orjson

from tidecore.catchlog import AtEvent, BinCount, JoinedTrip, OverDeployment
from tidecore.rules import Species
from tidecore.units import IntArray

#: Columns of the two arrays.
EFFORT_COLUMNS, CAUGHT_COLUMNS = 4, 4
#: Decimals of what is kept; what is shown has no more.
_DECIMALS = 5
_LITTLE = np.dtype("<i8")


def encode_join(joined: JoinedTrip) -> bytes:
    """Return what a join says of the things of a trip, without its counts."""
    document = {
        "deployments": _plain(joined.deployments),
        "bites": _plain(joined.bites),
        "catches": _plain(joined.catches),
    }
    return zlib.compress(orjson.dumps(document), 6)


def decode_join(content: bytes) -> JoinedTrip:
    """Return what `encode_join` was given, rounded to 5 decimals, without its counts."""
    document = orjson.loads(zlib.decompress(content))
    events = {
        kind: {ref: {name: AtEvent(**one) for name, one in found.items()} for ref, found in document[kind].items()}
        for kind in ("bites", "catches")
    }
    over = {
        ref: {name: OverDeployment(**one) for name, one in found.items()}
        for ref, found in document["deployments"].items()
    }
    return JoinedTrip(over, events["bites"], events["catches"], {})


def encode_counts(counts: Sequence[BinCount], names: Sequence[str]) -> tuple[bytes, bytes]:
    """Return the effort and the catches of a trip in the bins of a factor, which are numbered as in ``names``."""
    place = {name: number for number, name in enumerate(names)}
    effort = [(place[one.name], one.raw_us, one.bait_on_us, one.uncast_us) for one in counts]
    caught = [(place[one.name], *species_hashes(species), n) for one in counts for species, n in one.caught]
    return _packed(effort, EFFORT_COLUMNS), _packed(caught, CAUGHT_COLUMNS)


def stacked(arrays: Sequence[bytes], columns: int) -> tuple[IntArray, IntArray]:
    """Return the rows of many arrays under each other, and of each the number of its array."""
    content = b"".join(arrays)
    flat = np.frombuffer(content, dtype=_LITTLE) if content else np.empty(0, dtype=_LITTLE)
    rows = flat.reshape(-1, columns).astype(np.int64)
    sizes = np.fromiter(map(len, arrays), dtype=np.int64, count=len(arrays)) // (columns * _LITTLE.itemsize)
    return rows, np.repeat(np.arange(len(arrays)), sizes)


def species_hashes(species: Species) -> tuple[int, int]:
    """Return the hashes of the code of a species (0 without one) and of its name."""
    code = species.fao_code
    return 0 if code is None else name_hash(code), name_hash(species.scientific_name)


@lru_cache(maxsize=4096)
def name_hash(name: str) -> int:
    """Return a number for a name, whatever its case; that two of an account share one is next to impossible."""
    return int.from_bytes(hashlib.sha256(name.casefold().encode()).digest()[:8], "little", signed=True)


def _packed(rows: Iterable[Sequence[int]], columns: int) -> bytes:
    return np.array(list(rows), dtype=_LITTLE).reshape(-1, columns).tobytes()


def _plain(things: Mapping[str, Mapping[str, AtEvent | OverDeployment]]) -> dict[str, Any]:
    return {
        ref: {name: {key: _rounded(value) for key, value in asdict(one).items()} for name, one in found.items()}
        for ref, found in things.items()
    }


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, _DECIMALS)
    return {key: _rounded(one) for key, one in value.items()} if isinstance(value, dict) else value
