"""Constituents as plain JSON values, and the hash that identifies them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from tidecore.harmonics import Harmonics


def constituents_hash(harmonics: Harmonics, datum: str) -> str:
    """Return the SHA-256 of everything that determines a model given as constituents."""
    text = json.dumps(harmonics_document(harmonics) | {"datum": datum}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def harmonics_document(harmonics: Harmonics) -> dict[str, Any]:
    """Return ``harmonics`` as plain JSON values."""
    document: dict[str, Any] = {
        "names": list(harmonics.names),
        "amplitude_m": harmonics.amplitude.tolist(),
        "phase_deg": harmonics.phase.tolist(),
        "latitude": harmonics.latitude,
        "mean_level_m": harmonics.mean_level,
        "convention": harmonics.convention,
        "nodal": harmonics.nodal,
        "nodal_at_us": harmonics.nodal_at_us,
    }
    # Absent where there are none, so that documents and hashes of other models stay what they were.
    if harmonics.node_powers is not None:
        document["node_powers"] = harmonics.node_powers.tolist()
    return document


def harmonics_of(document: Mapping[str, Any]) -> Harmonics:
    """Return the harmonics of what `harmonics_document` made; raises KeyError, TypeError or a CoreError otherwise."""
    powers = document.get("node_powers")
    return Harmonics(
        names=tuple(document["names"]),
        amplitude=np.array(document["amplitude_m"], dtype=np.float64),
        phase=np.array(document["phase_deg"], dtype=np.float64),
        latitude=document["latitude"],
        mean_level=document["mean_level_m"],
        convention=document["convention"],
        nodal=document["nodal"],
        nodal_at_us=document["nodal_at_us"],
        node_powers=None if powers is None else np.array(powers, dtype=np.float64),
    )
