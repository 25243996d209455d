"""What the rules on file say, in answers; and the plan that is held against them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field

from service.api.instants import Instant, local_date, to_numpy, write_instant
from service.api.v1.schemas.common import DateText, InstantText, Schema, whole
from service.api.v1.schemas.session_search import Id
from service.usecases.regulation_checks import PlanJudged, PlanQuestion, RulesAt
from service.usecases.regulations import RegulationView
from tidecore.catchlog import Finding, worst
from tidecore.catchlog.findings import CHECK, Matter, Verdict
from tidecore.documents import Document, Name
from tidecore.rules import Species
from tidecore.timebase import TimeSpan

EXAMPLE: dict[str, Any] = {
    "mark_id": "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "start": "2026-06-03T18:00:00Z",
    "end": "2026-06-03T22:00:00Z",
    "species": [{"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS"}],
    "rods": 2,
    "hooks": 3,
    "permits": ["district ticket"],
}
CAUTION = (
    "These are the rules that the account put on file, as it wrote them down. They may be incomplete, out of date or "
    f"wrong: that nothing is found is no permission. {CHECK}"
)
#: Most findings of a session.
MOST_OF_A_SESSION = 10

Counted = Annotated[int | None, Field(strict=True, ge=0, le=1000), BeforeValidator(whole)]


class RegulationCheck(Document):
    """A plan: from the first cast to the last at a mark, after which species, with what."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    mark_id: Id
    start: Instant
    end: Annotated[Instant, Field(description="Two days later at most.")]
    species: Annotated[tuple[Species, ...], Field(max_length=50, description="What is fished for.")] = ()
    rods: Annotated[Counted, Field(description="How many an angler uses; not told unless given.")] = None
    hooks: Annotated[Counted, Field(description="How many an angler uses; not told unless given.")] = None
    permits: Annotated[
        tuple[Name, ...] | None,
        Field(max_length=50, description="Those held, by the names the rules have; not told unless given."),
    ] = None
    gathering: Annotated[bool, Field(strict=True, description="Whether bait is gathered.")] = False

    def question(self) -> PlanQuestion:
        """Return what is asked; InvalidSpan if it runs backwards."""
        span = TimeSpan(to_numpy(self.start), to_numpy(self.end))
        return PlanQuestion(self.mark_id, span, self.species, self.rods, self.hooks, self.permits, self.gathering)


class FindingSchema(Schema):
    """What one rule on file says of one matter; it may say nothing, and then that is said."""

    verdict: Verdict
    matter: Matter
    text: str
    regulation_id: Annotated[str | None, Field(description="The rule; null where none is on file.")]
    source: str | None
    dated: DateText | None
    stale: Annotated[bool, Field(description="Whether the rule was over 12 months old on that day.")]


class RuleUsed(Schema):
    """A rule on file that was looked at."""

    id: str
    version: int
    area: str
    source: str
    dated: DateText
    stale: Annotated[bool, Field(description="Whether it is over 12 months old today.")]


class PlanFindings(Schema):
    """What the rules on file say of a plan, the worst first."""

    mark_id: str
    mark_version: int
    time_zone: str
    date_local: DateText
    start: InstantText
    end: InstantText
    areas: Annotated[list[str], Field(description="Areas whose rules hold at the mark, as it names them.")]
    verdict: Annotated[Verdict, Field(description="The worst of the findings.")]
    findings: list[FindingSchema]
    rules: list[RuleUsed]
    caution: str


class SessionRegulations(Schema):
    """What the rules on file say of fishing a mark then, for the species of the windows; the worst first."""

    verdict: Verdict
    findings: list[FindingSchema]
    left_out: Annotated[int, Field(description="Findings not listed; POST /v1/regulations/check lists all.")]


def write_plan_findings(found: PlanJudged) -> dict[str, Any]:
    """Return what the rules say as `PlanFindings` has it."""
    mark, span = found.at.mark, found.question.span
    return {
        "mark_id": mark.record.id,
        "mark_version": mark.record.version,
        "time_zone": mark.document.time_zone,
        "date_local": local_date(span.start, mark.document.zone),
        "start": write_instant(span.start),
        "end": write_instant(span.end),
        "areas": list(mark.document.regulation_areas),
        "verdict": worst(found.findings),
        "findings": [write_finding(one, ids_of(found.at.rules)) for one in found.findings],
        "rules": write_rules_used(found.at),
        "caution": CAUTION,
    }


def write_session_regulations(
    findings: Sequence[Finding] | None, rules: Sequence[RegulationView]
) -> dict[str, Any] | None:
    """Return what the rules say of a stay at a mark as `SessionRegulations` has it; None where it names no area."""
    if findings is None:
        return None
    ids, shown = ids_of(rules), findings[:MOST_OF_A_SESSION]
    return {
        "verdict": worst(findings),
        "findings": [write_finding(one, ids) for one in shown],
        "left_out": len(findings) - len(shown),
    }


def ids_of(rules: Sequence[RegulationView]) -> Mapping[int, str]:
    """Return the ids of rules by the identity of what they say, which findings carry along."""
    return {id(view.document): view.record.id for view in rules}


def write_finding(one: Finding, ids: Mapping[int, str]) -> dict[str, Any]:
    """Return a finding as `FindingSchema` has it."""
    return {
        "verdict": one.verdict,
        "matter": one.matter,
        "text": one.text,
        "regulation_id": None if one.rule is None else ids[id(one.rule)],
        "source": one.source or None,
        "dated": one.dated or None,
        "stale": one.stale,
    }


def write_rules_used(at: RulesAt) -> list[dict[str, Any]]:
    """Return the rules at a mark as `RuleUsed` has them."""
    return [
        {
            "id": view.record.id,
            "version": view.record.version,
            "area": view.document.area,
            "source": view.document.source,
            "dated": view.document.dated,
            "stale": view.document.stale_on(at.day),
        }
        for view in at.rules
    ]
