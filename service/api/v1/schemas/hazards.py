"""Hazards in answers, and who goes in requests."""

from __future__ import annotations

import zoneinfo
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import InstantText, Schema, whole
from tidecore.place import Document, Number
from tidecore.safety import Grade, Hazard, HazardReport, OutingFacts

#: How many times as long as stated the way back takes.
Pace = Annotated[Number, Field(ge=0.2, le=10.0, description="How many times as long as stated the way back takes.")]


class OutingFactsBody(Document):
    """Who goes, and what he knows. What is left out is not known, and never taken for the better."""

    alone: Annotated[bool | None, Field(strict=True)] = None
    first_visit: Annotated[bool | None, Field(strict=True)] = None
    party: Annotated[
        int | None, Field(strict=True, ge=1, le=1000, description="How many go."), BeforeValidator(whole)
    ] = None
    wading: Annotated[bool | None, Field(strict=True)] = None
    bathers: Annotated[bool | None, Field(strict=True, description="Within the casting arc.")] = None
    surge_m: Annotated[
        Number | None,
        Field(ge=-15.0, le=15.0, description="On top of the tide; what the pressure of the air lifts it unless given."),
    ] = None
    pace: Pace = 1.0

    def facts(self) -> OutingFacts:
        """Return the facts; InvalidInput if one contradicts another."""
        return OutingFacts(self.alone, self.first_visit, self.party, self.wading, self.bathers, self.surge_m, self.pace)


#: Who goes, in the body of a search.
OutingField = Annotated[
    OutingFactsBody | None, Field(description="Who goes, for hazards; nothing is known of it unless given.")
]
#: Whether time of danger is searched.
DangerousField = Annotated[
    bool, Field(strict=True, description="Show what lies in time of danger too; it stays marked as danger.")
]


def facts_of(body: OutingFactsBody | None) -> OutingFacts:
    """Return who goes; nothing known where nothing is said."""
    return OutingFacts() if body is None else body.facts()


class HazardSchema(Schema):
    """One hazard, from walking in to walking out."""

    kind: str
    grade: Grade
    start: InstantText
    end: InstantText
    value: Annotated[float | None, Field(description="The worst of the time; null where there is none.")]
    unit: str
    threshold: Annotated[float | None, Field(description="What it was held against.")]
    source: str
    text: Annotated[str, Field(description="In a sentence; times by the clocks of the mark.")]


class SafetySchema(Schema):
    """What is known against it: the worst grade, in words, and what is not assessed. It never says safe."""

    grade: Annotated[Grade, Field(description="What is not assessed counts as a caution.")]
    sentences: list[str]
    not_assessed: Annotated[list[str], Field(description="Kinds of hazard that are not assessed.")]
    loosened: Annotated[list[str], Field(description="Thresholds that this account has loosened.")]


def write_safety(report: HazardReport, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return the fields ``hazards`` and ``safe`` of an answer."""
    return {
        "hazards": [write_hazard(one, zone) for one in report.hazards],
        "safe": {
            "grade": report.grade,
            "sentences": list(report.sentences),
            "not_assessed": list(report.not_assessed),
            "loosened": list(report.loosened),
        },
    }


def write_hazard(one: Hazard, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return a hazard as `HazardSchema` has it."""
    return {
        "kind": one.kind,
        "grade": one.grade,
        "start": write_instant(one.start, zone),
        "end": write_instant(one.end, zone),
        "value": number(one.value, 3),
        "unit": one.unit,
        "threshold": number(one.threshold, 3),
        "source": one.source,
        "text": one.text,
    }
