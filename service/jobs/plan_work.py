"""What a plan has computed of a chunk of marks: plain data in, plain data out, wherever it is done.

Marks of a chunk that share a tide, a sea or the sky work these out once; a process that is given several chunks keeps
the latest tides, seas and skies for the next one.
"""

from __future__ import annotations

import traceback
import zlib
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
import orjson

from service.errors import JobBroke, ServiceError
from service.jobs.plan_documents import planned_document
from service.storage.plain import encode_error
from tidecore.calendars import FreeTime
from tidecore.conditions import ConditionIssue, Conditions, OfficialWarning
from tidecore.errors import CoreError
from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.rules import SpeciesRule
from tidecore.safety import Care, OutingFacts, Thresholds
from tidecore.sky import SkyPositions, sky_positions
from tidecore.timebase import TimeSpan, from_microseconds
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import PlannedMark, SessionOptions, plan_marks, search_marks

T = TypeVar("T")

#: Timelines look for sun and moon so far beyond their span [days].
_SKY_REACH_DAYS = 4.0
#: Tides, seas and skies kept for the next chunk, so many of each.
_MOST_KEPT = 16
#: How hard results are compressed: a quarter of their size for a tenth of a millisecond.
_LEVEL = 1


@dataclass(frozen=True, slots=True)
class PlanQuestion:
    """What is asked of every mark of a plan, as plain data.

    ``rules`` and ``thresholds`` are documents, ``options`` fields of `SessionOptions`, ``facts`` of `OutingFacts`.
    """

    start_us: int
    end_us: int
    rules: Sequence[tuple[str, Mapping[str, Any]]]
    thresholds: Mapping[str, Any]
    options: Mapping[str, float]
    free_time: Mapping[str, Any] | None
    travel_min: float
    facts: Mapping[str, Any]
    include_dangerous: bool
    most: int
    diverse: bool


@dataclass(frozen=True, slots=True)
class ChunkMark:
    """A mark to be planned: its document, and where in the chunk its tide and its sea are."""

    mark_id: str
    document: Mapping[str, Any]
    tide: str
    sea: str | None
    rests_on: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class PlanChunk:
    """Marks that are planned together, with documents of tide models, and of issues and warnings, by key.

    ``nothing_told`` is what is said of a mark without issues.
    """

    question: PlanQuestion
    marks: Sequence[ChunkMark]
    tides: Mapping[str, Mapping[str, Any]]
    seas: Mapping[str, tuple[Sequence[Mapping[str, Any]], Sequence[Mapping[str, Any]]]]
    nothing_told: str


@dataclass(frozen=True, slots=True)
class MarkOutcome:
    """What came of one mark: compressed JSON, or the problem; ``trace`` is for the log alone."""

    mark_id: str
    content: bytes | None = None
    problem: Mapping[str, Any] | None = None
    trace: str | None = None


def plan_chunk(chunk: PlanChunk) -> list[MarkOutcome]:
    """Return what comes of the marks of a chunk; one that fails stops no other."""
    asked = _Asked(chunk.question)
    together, trace = _together(asked, chunk)
    outcomes = [_outcome(asked, chunk, mark, together.get(mark.mark_id)) for mark in chunk.marks]
    if trace is not None and all(one.trace is None for one in outcomes):
        # Every mark is fine alone, and all of them together are not: that is a fault of ours, and the log has it.
        outcomes[0] = replace(outcomes[0], trace=trace)
    return outcomes


def unpack(content: bytes) -> dict[str, Any]:
    """Return the document of a result."""
    found: dict[str, Any] = orjson.loads(zlib.decompress(content))
    return found


def _together(asked: _Asked, chunk: PlanChunk) -> tuple[Mapping[str, PlannedMark], str | None]:
    """Return the plans of all marks of a chunk, made in one go; nothing where that fails: then each is made alone.

    An error that nobody foresaw comes with its trace.
    """
    try:
        return asked.plan(chunk, chunk.marks), None
    except (CoreError, ServiceError):
        # Which mark it was, and that the others are fine, comes out mark by mark, and the problem with it.
        return {}, None
    except MemoryError:
        raise
    except Exception as error:
        return {}, _trace(error)


def _outcome(asked: _Asked, chunk: PlanChunk, one: ChunkMark, found: PlannedMark | None) -> MarkOutcome:
    try:
        document = asked.document(chunk, one, found or asked.plan(chunk, [one])[one.mark_id])
    except (CoreError, ServiceError) as error:
        return MarkOutcome(one.mark_id, problem=encode_error(error))
    except MemoryError:
        raise
    except Exception as error:
        return MarkOutcome(one.mark_id, problem=encode_error(JobBroke()), trace=_trace(error))
    return MarkOutcome(one.mark_id, zlib.compress(orjson.dumps(document), _LEVEL))


def _trace(error: Exception) -> str:
    """Return where an error was raised, and its class; its words may hold what is private."""
    return "".join(traceback.format_tb(error.__traceback__)) + type(error).__qualname__


class _Asked:
    """A question, decoded once a chunk."""

    def __init__(self, question: PlanQuestion) -> None:
        start, end = from_microseconds(np.array([question.start_us, question.end_us], dtype=np.int64))
        self.question, self.span = question, TimeSpan(start, end)
        self.rules = {key: _rule(key, document) for key, document in question.rules}
        self.names = tuple(dict.fromkeys(name for rule in self.rules.values() for name in rule.factor_names))
        self.options = SessionOptions(**question.options)
        facts = OutingFacts(**{**question.facts, "pack_up_min": self.options.pack_up_min})
        self.care = Care(Thresholds.parse(question.thresholds), facts, question.include_dangerous)
        self.free_time = None if question.free_time is None else FreeTime.parse(question.free_time)
        self.sky = _SKIES.get((question.start_us, question.end_us), lambda: _sky(self.span))

    def plan(self, chunk: PlanChunk, marks: Sequence[ChunkMark]) -> dict[str, PlannedMark]:
        """Return the plans of marks of a chunk, searched in one go, by the ids of the marks."""
        return plan_marks(
            search_marks({one.mark_id: self._timeline(chunk, one) for one in marks}, self.rules, self.care),
            self.options,
            travel_min=self.question.travel_min,
            most=self.question.most,
            diverse=self.question.diverse,
        )

    def _timeline(self, chunk: PlanChunk, one: ChunkMark) -> Timeline:
        return build_timeline(
            Mark.parse(one.document),
            _TIDES.get(one.tide, lambda: TideModel.from_document(chunk.tides[one.tide])),
            self.span.start,
            self.span.end,
            sky=self.sky,
            names=self.names,
            conditions=self._sea(chunk, one),
            free_time=self.free_time,
        )

    def _sea(self, chunk: PlanChunk, one: ChunkMark) -> Conditions | None:
        return None if one.sea is None else _SEAS.get(one.sea, lambda: _conditions(*chunk.seas[str(one.sea)]))

    def document(self, chunk: PlanChunk, one: ChunkMark, planned: PlannedMark) -> dict[str, Any]:
        """Return the document of one mark, from its plan."""
        told = _SAID.get(
            (one.sea, self.span.start_us, self.span.end_us),
            lambda: self._said(self._sea(chunk, one), chunk.nothing_told),
        )
        return {
            "rests_on": {**one.rests_on, "datum": planned.datum, "said": told},
            **planned_document(planned),
        }

    def _said(self, sea: Conditions | None, nothing: str) -> list[str]:
        """Return in words what is not assessed over the span, or rests on old issues."""
        return [nothing] if sea is None or not sea.issues else list(sea.sentences(self.span))


class _Kept:
    """The latest of what was worked out, by key."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Any, Any] = OrderedDict()

    def get(self, key: Any, make: Callable[[], T]) -> T:
        """Return what is kept under a key, made where it is not there."""
        if key not in self._kept:
            self._kept[key] = make()
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        found: T = self._kept[key]
        return found


# Of this process: what says the same has the same key, so that no chunk can be given another's.
_TIDES, _SEAS, _SKIES, _RULES, _SAID = _Kept(), _Kept(), _Kept(), _Kept(), _Kept()


def _rule(key: str, document: Mapping[str, Any]) -> SpeciesRule:
    return _RULES.get((key, orjson.dumps(document, option=orjson.OPT_SORT_KEYS)), lambda: SpeciesRule.parse(document))


def _sky(span: TimeSpan) -> SkyPositions:
    reach = span.padded(_SKY_REACH_DAYS)
    return sky_positions(reach.start, reach.end)


def _conditions(issues: Sequence[Mapping[str, Any]], warnings: Sequence[Mapping[str, Any]]) -> Conditions:
    return Conditions.of(
        [ConditionIssue.parse(one) for one in issues], [OfficialWarning.parse(one) for one in warnings]
    )
