"""What routes are given, typed: the caller, the context, a span, a step, a zone, a version."""

from __future__ import annotations

import zoneinfo
from typing import Annotated

from fastapi import Depends, Path, Query, Request

from service.api.instants import Instant, to_numpy
from service.errors import KeyNeeded, ScopeNeeded
from service.security import Caller
from service.usecases.context import Context
from service.usecases.stations import check_zone
from service.usecases.sureness import Sureness
from tidecore.errors import Fault, InvalidSpan
from tidecore.place import Name
from tidecore.timebase import TimeSpan, parse_step


async def context_of(request: Request) -> Context:
    """Return the context of the application."""
    context: Context = request.app.state.house.context
    return context


async def caller_of(request: Request) -> Caller:
    """Return who calls, as the guard found it; KeyNeeded for a request that it did not look at."""
    caller: Caller | None = getattr(request.state, "caller", None)
    if caller is None:
        raise KeyNeeded
    return caller


async def check_scope(request: Request, scope: str | None) -> None:
    """Refuse a caller that may not do what needs ``scope``; None asks for nothing.

    Raises
    ------
    KeyNeeded, ScopeNeeded
        If there is no caller, or its key is not good for this.
    """
    if scope is None:
        return
    caller = await caller_of(request)
    if not caller.may(scope):
        raise ScopeNeeded(scope, sorted(caller.scopes))


async def span_of(
    start: Annotated[
        Instant,
        Query(description="Start of the half-open span, with its offset.", examples=["2026-06-01T00:00:00Z"]),
    ],
    end: Annotated[
        Instant,
        Query(description="End of the span, itself outside it, with its offset.", examples=["2026-06-02T00:00:00Z"]),
    ],
) -> TimeSpan:
    """Return the span of a query; InvalidSpan if it runs backwards or leaves 1700 to 2200."""
    return TimeSpan(to_numpy(start), to_numpy(end))


async def open_span_of(
    start: Annotated[
        Instant | None,
        Query(description="Start of the half-open span, with its offset; the standard span unless given."),
    ] = None,
    end: Annotated[
        Instant | None, Query(description="End of the span, itself outside it, with its offset; given with start.")
    ] = None,
) -> TimeSpan | None:
    """Return the span of a query that may have none; InvalidSpan if it has half of one, or as `span_of`."""
    if start is None and end is None:
        return None
    if start is None or end is None:
        field = "start" if start is None else "end"
        raise InvalidSpan(Fault(field, "is missing", "both start and end, or neither"))
    return TimeSpan(to_numpy(start), to_numpy(end))


async def step_of(
    step: Annotated[
        str,
        Query(
            pattern=r"^[1-9][0-9]{0,5}(s|min|h|d)$",
            description="Distance of the instants: a whole number and s, min, h or d.",
            examples=["10min"],
        ),
    ] = "10min",
) -> int:
    """Return the step of a query in microseconds."""
    return parse_step(step)


async def zone_of(
    tz: Annotated[
        str | None,
        Query(
            max_length=64,
            description="IANA time zone whose offsets the answer's instants carry; UTC with Z unless given.",
            examples=["Etc/GMT-1"],
        ),
    ] = None,
) -> zoneinfo.ZoneInfo | None:
    """Return the zone asked for."""
    return None if tz is None else check_zone(tz, "tz")


IntervalQuery = Annotated[
    float | None,
    Query(
        allow_inf_nan=False,
        description="Nominal coverage of prediction intervals, over 0 and at most 0.99; none unless given.",
        examples=[0.9],
    ),
]


async def interval_of(interval: IntervalQuery = None) -> Sureness:
    """Return the intervals asked for; InvalidInput for a level that is none."""
    return Sureness(interval)


async def sureness_of(
    interval: IntervalQuery = None,
    surge_m: Annotated[
        float | None,
        Query(allow_inf_nan=False, description="Surge over the whole span [m]; shown apart from the tide."),
    ] = None,
    surge_sd_m: Annotated[
        float | None,
        Query(
            allow_inf_nan=False,
            description="Standard deviation of the surge [m]; replaces the weather's part of the interval.",
        ),
    ] = None,
    pressure_hpa: Annotated[
        float | None,
        Query(
            allow_inf_nan=False,
            description="Air pressure at sea level [hPa]: a surge of 1 cm for each hPa under the reference, unless "
            "surge_m is given.",
        ),
    ] = None,
    reference_pressure_hpa: Annotated[
        float | None,
        Query(allow_inf_nan=False, description="Mean pressure of the place and month [hPa]; else 1013.25."),
    ] = None,
) -> Sureness:
    """Return the intervals asked for and the surge given; InvalidInput for values that cannot be."""
    return Sureness(interval, surge_m, surge_sd_m, pressure_hpa, reference_pressure_hpa)


CallerDep = Annotated[Caller, Depends(caller_of)]
ContextDep = Annotated[Context, Depends(context_of)]
SpanDep = Annotated[TimeSpan, Depends(span_of)]
OpenSpanDep = Annotated[TimeSpan | None, Depends(open_span_of)]
StepDep = Annotated[int, Depends(step_of)]
IntervalDep = Annotated[Sureness, Depends(interval_of)]
SurenessDep = Annotated[Sureness, Depends(sureness_of)]
ZoneDep = Annotated[zoneinfo.ZoneInfo | None, Depends(zone_of)]
DatumQuery = Annotated[
    str | None,
    Query(
        min_length=1,
        max_length=200,
        description="Datum that heights are told above: one that the station states, or one of its tidal datums; "
        "its own unless given.",
        examples=["LAT"],
    ),
]
VersionQuery = Annotated[
    int | None,
    Query(ge=1, le=1_000_000, description="Version of the station's tide model; the current one unless given."),
]
VersionOfDocument = Annotated[
    int | None, Query(ge=1, le=1_000_000, description="A version to read; as it stands unless given.")
]
StationId = Annotated[str, Path(max_length=64, description="Id of a station.")]
StationIds = Annotated[
    list[Annotated[str, Query(min_length=1, max_length=64)]],
    Query(min_length=1, max_length=1000, description="Ids of stations."),
]
MarkIds = Annotated[
    list[Annotated[str, Query(min_length=1, max_length=64)]],
    Query(min_length=1, max_length=200, description="Ids of marks."),
]
OfMark = Annotated[str | None, Query(min_length=1, max_length=64, description="Of this mark: its id.")]
OfArea = Annotated[Name | None, Query(description="Of this area: the name that marks have as their conditions_area.")]
FitId = Annotated[str, Path(max_length=64, description="Id of a fit.")]
ImportId = Annotated[str, Path(max_length=64, description="Id of an import.")]
JobId = Annotated[str, Path(max_length=64, description="Id of a job.")]
FeedId = Annotated[str, Path(max_length=64, description="Id of a feed.")]
PlanId = Annotated[str, Path(max_length=64, description="Id of a plan.")]
MarkId = Annotated[str, Path(max_length=64, description="Id of a mark.")]
ConditionId = Annotated[str, Path(max_length=64, description="Id of an issue of conditions.")]
WarningId = Annotated[str, Path(max_length=64, description="Id of an official warning.")]
NoteId = Annotated[str, Path(max_length=64, description="Id of a slack note.")]
RegulationId = Annotated[str, Path(max_length=64, description="Id of a rule on file.")]
MethodId = Annotated[str, Path(max_length=64, description="Id of a method.")]
RuleId = Annotated[str, Path(max_length=64, description="Id of a species rule.")]
TripId = Annotated[str, Path(max_length=64, description="Id of a trip.")]
DeploymentRef = Annotated[str, Path(max_length=120, description="Name of a deployment within its trip: its `ref`.")]
BiteRef = Annotated[str, Path(max_length=120, description="Name of a bite within its trip: its `ref`.")]
CatchRef = Annotated[str, Path(max_length=120, description="Name of a catch within its trip: its `ref`.")]
DiaryRowId = Annotated[str, Path(max_length=64, description="Id of a row of an old diary.")]
