"""The safety thresholds of an account in requests and answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from service.api.instants import write_instant
from service.api.v1.schemas.common import InstantText, Schema
from service.usecases.safety_thresholds import ThresholdsView
from tidecore.safety import DEFAULTS
from tidecore.safety import Thresholds as ThresholdsDocument

PUT_EXAMPLE: dict[str, Any] = {"ledge_height_any_period_m": 1.2, "thunder_caution_percent": 20.0}
PATCH_EXAMPLE: dict[str, Any] = {"ledge_height_any_period_m": 1.2, "thunder_caution_percent": None}


class SafetyThresholds(Schema):
    """The thresholds that hold for the account."""

    version: Annotated[int, Field(description="0 while they are the defaults, never written.")]
    thresholds: ThresholdsDocument
    defaults: Annotated[ThresholdsDocument, Field(description="Common practice, not truth.")]
    changed: list[str]
    loosened: Annotated[list[str], Field(description="Looser than the defaults; every answer says so.")]
    said: list[str]
    updated_at: InstantText | None


class SafetyThresholdsReplace(ThresholdsDocument):
    """The thresholds to hold from now on; what is left out has the default."""

    model_config = ConfigDict(json_schema_extra={"examples": [PUT_EXAMPLE]})

    def to_thresholds(self) -> ThresholdsDocument:
        """Return the thresholds."""
        return ThresholdsDocument.parse(self.model_dump())


def write_thresholds_view(view: ThresholdsView) -> dict[str, Any]:
    """Return thresholds as `SafetyThresholds` has them."""
    return {
        "version": view.version,
        "thresholds": view.thresholds.to_document(),
        "defaults": DEFAULTS.to_document(),
        "changed": list(view.thresholds.changed),
        "loosened": list(view.thresholds.loosened),
        "said": list(view.thresholds.said()),
        "updated_at": None if view.updated_at is None else write_instant(view.updated_at),
    }
