"""Instants of a card: UTC, to the minute, with their Z."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import AfterValidator

from tidecore.place import fault


def moment(text: str) -> np.datetime64:
    """Return an instant of a card."""
    return np.datetime64(text.removesuffix("Z"), "us")


def is_instant(text: str) -> str:
    """Refuse what is no instant in UTC."""
    try:
        moment(text)
    except ValueError:
        raise fault(f"is {text!r}", "an instant as 2026-10-12T18:00Z") from None
    if not text.endswith("Z"):
        raise fault(f"is {text!r}", "an instant in UTC, with Z")
    return text


Instant = Annotated[str, AfterValidator(is_instant)]
