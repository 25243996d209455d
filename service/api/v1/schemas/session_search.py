"""What is asked of a search for sessions, and of a comparison of two."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field

from service.api.instants import Instant, to_numpy
from service.api.v1.schemas.common import whole
from service.api.v1.schemas.hazards import DangerousField, OutingField, facts_of
from service.api.v1.schemas.windows import Ids
from service.usecases.sessions import Drive, SessionPlace, SessionQuestion
from tidecore.calendars import FreeTime
from tidecore.filters import Filter
from tidecore.filters.syntax import Language
from tidecore.place import Document, Number
from tidecore.timebase import TimeSpan
from tidecore.windows import SessionOptions
from tidecore.windows.options import LONGEST_H, LONGEST_MIN
from tidecore.windows.ranking import Grouping

EXAMPLE: dict[str, Any] = {
    "start": "2026-06-01T00:00:00Z",
    "end": "2026-06-15T00:00:00Z",
    "free_time": {
        "weekly": [
            {"weekdays": ["saturday", "sunday"], "hours": {"from": "05:00", "to": "23:00"}},
            {"weekdays": ["wednesday"], "hours": {"from": "17:30", "to": "00:30"}},
        ],
        "off": [{"dates": [{"from": "2026-06-06", "to": "2026-06-06"}]}],
    },
    "travel_min": 20,
    "by": "overall",
    "limit": 5,
}
COMPARISON_EXAMPLE: dict[str, Any] = {
    "first_mark_id": "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "first_start": "2026-06-03T18:00:00Z",
    "first_end": "2026-06-03T21:30:00Z",
    "second_mark_id": "mrk_06hq3vy6vc0s2j0q8k5m1x2w3z",
    "second_start": "2026-06-06T04:00:00Z",
    "second_end": "2026-06-06T08:00:00Z",
}

Id = Annotated[str, Field(min_length=1, max_length=64)]
Minutes = Annotated[Number, Field(ge=0.0, le=LONGEST_MIN)]
Hours = Annotated[Number, Field(ge=0.0, le=LONGEST_H)]
ZoneName = Annotated[
    str | None, Field(max_length=64, description="IANA zone whose offsets instants carry; UTC unless given.")
]
_DEFAULTS = SessionOptions()


class Way(Document):
    """How long it takes to a mark, and back."""

    mark_id: Id
    minutes: Minutes


class DriveBetween(Document):
    """How long it takes from one mark to another; as long the other way, unless that is given too."""

    from_mark_id: Id
    to_mark_id: Id
    minutes: Minutes


class SessionSearch(Document):
    """Which marks, which rules, over what span, in which free time, and how sessions are made and ranked."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    start: Instant
    end: Instant
    mark_ids: Annotated[Ids | None, Field(description="Ids of marks; all of the account's unless given.")] = None
    rule_ids: Annotated[Ids | None, Field(description="Ids of species rules; all unless given.")] = None
    free_time: Annotated[
        FreeTime | None,
        Field(description="Free hours by the clocks of each mark; the whole span unless given. Ways lie in them too."),
    ] = None
    travel_min: Annotated[Minutes, Field(description="The way to any mark that travel does not name, and back.")] = 0.0
    travel: Annotated[tuple[Way, ...], Field(max_length=1000, description="The way to single marks, and back.")] = ()
    drives: Annotated[
        tuple[DriveBetween, ...],
        Field(max_length=200, description="Pairs of marks that may be fished one after the other in one outing."),
    ] = ()
    least_h: Annotated[Hours, Field(description="Shortest session, from arriving to leaving.")] = _DEFAULTS.least_h
    most_h: Annotated[Hours, Field(description="Longest session, from arriving to leaving.")] = _DEFAULTS.most_h
    set_up_min: Annotated[Minutes, Field(description="From arriving to fishing.")] = _DEFAULTS.set_up_min
    pack_up_min: Annotated[Minutes, Field(description="From fishing to leaving.")] = _DEFAULTS.pack_up_min
    lull_min: Annotated[Minutes, Field(description="Longest lull that is sat out.")] = _DEFAULTS.lull_min
    by: Annotated[Grouping, Field(description="One list over all, or one for each mark, species or day.")] = "overall"
    each: Annotated[
        int | None, Field(strict=True, ge=1, le=500, description="Most sessions of a list."), BeforeValidator(whole)
    ] = None
    diverse: Annotated[
        bool, Field(strict=True, description="Whether a session counts less beside those like it named before it.")
    ] = True
    plan: Annotated[
        bool,
        Field(strict=True, description="Only sessions that one angler can make: none overlaps one ranked before it."),
    ] = False
    filter: Annotated[
        str | dict[str, Any] | None,
        Field(
            description="CQL2 over /v1/queryables, as text or as an object of CQL2 JSON: windows lie where it is true, "
            "and other time is worth nothing.",
            examples=["light <> 'day' AND height > 2"],
        ),
    ] = None
    filter_lang: Annotated[
        Language | None, Field(description="How the filter is written; a text is cql2-text unless this says otherwise.")
    ] = None
    limit: Annotated[
        int, Field(strict=True, ge=1, le=200, description="Most sessions on the page."), BeforeValidator(whole)
    ] = 20
    cursor: Annotated[str | None, Field(max_length=200, description="`next_cursor` of the page before.")] = None
    outing: OutingField = None
    include_dangerous: DangerousField = False
    tz: ZoneName = None

    def question(self) -> SessionQuestion:
        """Return what is asked; InvalidSpan or InvalidInput where it contradicts itself."""
        return SessionQuestion(
            span=TimeSpan(to_numpy(self.start), to_numpy(self.end)),
            mark_ids=self.mark_ids,
            rule_ids=self.rule_ids,
            options=SessionOptions(self.least_h, self.most_h, self.set_up_min, self.pack_up_min, self.lull_min),
            free_time=self.free_time,
            travel={way.mark_id: way.minutes for way in self.travel},
            travel_min=self.travel_min,
            drives=tuple(Drive(one.from_mark_id, one.to_mark_id, one.minutes) for one in self.drives),
            by=self.by,
            each=self.each,
            diverse=self.diverse,
            overlapping=not self.plan,
            facts=facts_of(self.outing),
            include_dangerous=self.include_dangerous,
            within=None if self.filter is None else Filter.parse(self.filter, language=self.filter_lang),
        )

    def asked(self) -> dict[str, Any]:
        """Return all that decides the list, but not which page of it nor how it is told."""
        return self.model_dump(by_alias=True, exclude={"limit", "cursor", "tz"})


class SessionComparison(Document):
    """Two sessions, each by its mark and the span that is fished, and the rules to compare them by."""

    model_config = ConfigDict(json_schema_extra={"examples": [COMPARISON_EXAMPLE]})

    first_mark_id: Id
    first_start: Annotated[Instant, Field(description="Start of the fishing.")]
    first_end: Instant
    second_mark_id: Id
    second_start: Instant
    second_end: Instant
    rule_ids: Annotated[Ids | None, Field(description="Ids of species rules; all unless given.")] = None
    set_up_min: Minutes = _DEFAULTS.set_up_min
    pack_up_min: Minutes = _DEFAULTS.pack_up_min
    outing: OutingField = None
    tz: ZoneName = None

    @property
    def places(self) -> tuple[SessionPlace, SessionPlace]:
        """The two sessions; InvalidSpan if one runs backwards."""
        first = TimeSpan(to_numpy(self.first_start), to_numpy(self.first_end))
        second = TimeSpan(to_numpy(self.second_start), to_numpy(self.second_end))
        return SessionPlace(self.first_mark_id, first), SessionPlace(self.second_mark_id, second)

    @property
    def options(self) -> SessionOptions:
        """How long setting up and packing up take."""
        return SessionOptions(set_up_min=self.set_up_min, pack_up_min=self.pack_up_min)
