"""Routes of what the log says: trips joined to the tide, totals, rates, seasons."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Literal, TypeVar

from fastapi import APIRouter, Depends, Path, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_told, declare_conditional, has_it, parts_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, OfMark, TripId
from service.api.editing import ONCE, OnceOfDeed, respond, written
from service.api.media import answer
from service.api.repeated import RepeatedRoute
from service.api.v1.schemas.common import RETRY_AFTER, retry_after
from service.api.v1.schemas.insights import Season, Totals, write_season, write_totals
from service.api.v1.schemas.jobs import Job, write_job
from service.api.v1.schemas.joined_trips import JoinedTripSchema, write_joined
from service.api.v1.schemas.rates import Rates, write_rates
from service.usecases.insights import tell_totals
from service.usecases.joins import ask_for_joins, joined_trip
from service.usecases.log_reading import Knows, LogBasis
from service.usecases.once import Answered
from service.usecases.rates import RateAsk, tell_rates
from service.usecases.records import JobRecord, TripFilter
from service.usecases.seasons import FIRST_YEAR, LAST_YEAR, tell_season
from tidecore.calendars.patterns import CalendarDate
from tidecore.catchlog.bins import MOST_EDGES
from tidecore.errors import Fault, InvalidInput

router = APIRouter(tags=["insights"], route_class=RepeatedRoute)

V = TypeVar("V")

_DATE = {"format": "date"}
OfSpecies = Annotated[
    str | None,
    Query(
        min_length=1,
        max_length=120,
        description="Only of this species: its FAO code, its scientific name, or a local name that the log has for it.",
        examples=["BSS"],
    ),
]


async def trips_of(
    mark_id: OfMark = None,
    from_day: Annotated[
        CalendarDate | None,
        Query(description="First local day of the marks.", examples=["2026-01-01"], json_schema_extra=_DATE),
    ] = None,
    to_day: Annotated[
        CalendarDate | None,
        Query(description="Last local day, itself in it.", examples=["2026-12-31"], json_schema_extra=_DATE),
    ] = None,
    purpose: Annotated[
        Literal["pleasure", "match", "scouting", "bait"] | None,
        Query(description="Only trips with this purpose; coarse rows have none."),
    ] = None,
) -> TripFilter:
    """Return which trips are asked for; InvalidInput for days that run backwards."""
    first, last = (None if day is None else date.fromisoformat(day) for day in (from_day, to_day))
    if first is not None and last is not None and last < first:
        raise InvalidInput(Fault("to_day", f"is {last}, before from_day {first}", "the same day or a later one"))
    return TripFilter(mark_id, first, last, purpose)


TripsDep = Annotated[TripFilter, Depends(trips_of)]


@router.get(
    "/trips/{trip_id}/joined",
    operation_id="get_joined_trip",
    summary="A trip joined to the tide",
    response_model=JoinedTripSchema,
    responses=declare("not-found", "no-model", "model-unreadable", "invalid-input"),
)
def get_joined_trip(trip_id: TripId, caller: CallerDep, context: ContextDep) -> Response:
    """Every factor of tide, light, season, sea and air at each deployment, bite and catch of a trip, at its own time
    and as sure as that is; what is unknown stays so. Rests on the newest trip, mark, tide and conditions."""
    return answer(write_joined(joined_trip(context, caller, trip_id)))


@router.post(
    "/insights/joins",
    operation_id="join_trips",
    summary="Join trips to the tide",
    status_code=202,
    response_model=Job,
    responses={**declare("store-conflict", *ONCE), 202: RETRY_AFTER},
)
def join_trips(caller: CallerDep, context: ContextDep, once: OnceOfDeed) -> Response:
    """Have every trip joined whose join is missing or rests on older versions; the job that does it already, where
    there is one. Writes do this by themselves, and an hourly round after an upgrade or a new tide of a public station;
    this is for who cannot wait."""
    return respond(once.run(context, caller, lambda keep: ask_for_joins(context, caller, keep), _asked))


@router.get(
    "/insights/totals",
    operation_id="get_totals",
    summary="What the log adds up to",
    response_model=Totals,
    responses=declare_conditional() | declare("not-found", "invalid-input"),
)
def get_totals(
    request: Request, caller: CallerDep, context: ContextDep, trips: TripsDep, species: OfSpecies = None
) -> Response:
    """Trips by outcome, blanks among them, effort raw and bait-on, catches by species; match trips can be told apart by
    their purpose, coarse rows of old diaries stand beside."""
    return _told(request, lambda knows: tell_totals(context, caller, trips, species, knows), write_totals)


@router.get(
    "/insights/rates",
    operation_id="get_rates",
    summary="Catch rates by one factor",
    response_model=Rates,
    responses=declare_conditional() | declare("not-found", "invalid-input", "unknown-name"),
)
def get_rates(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    trips: TripsDep,
    by: Annotated[
        str,
        Query(
            min_length=1,
            max_length=60,
            description="A factor of the timeline, as light or hours_from_hw; or mark.",
            examples=["light"],
        ),
    ],
    edges: Annotated[
        list[float] | None,
        Query(
            min_length=1,
            max_length=MOST_EDGES,
            description="Edges of the bins of a number, ascending; its default bins unless given. Trips are joined "
            "anew for others: a few hundred at most.",
        ),
    ] = None,
    species: OfSpecies = None,
    effort: Annotated[
        Literal["bait_on", "raw"], Query(description="Hours of baits in the water, or of rods in use.")
    ] = "bait_on",
    level: Annotated[float, Query(gt=0.0, lt=1.0, description="Confidence of the limits.")] = 0.95,
) -> Response:
    """Catches per hour of effort in each bin of one factor, with exact Poisson limits, limits widened by how much trips
    differ, blanks, and what the evidence is worth. By edges of one's own there is no ETag."""
    ask = RateAsk(by, tuple(edges or ()), species, effort, level, trips)
    return _told(request, lambda knows: tell_rates(context, caller, ask, knows), write_rates)


@router.get(
    "/insights/seasons/{year}",
    operation_id="get_season",
    summary="A year of the log",
    response_model=Season,
    responses=declare_conditional() | declare("not-found", "invalid-input"),
)
def get_season(
    request: Request,
    year: Annotated[int, Path(ge=FIRST_YEAR, le=LAST_YEAR, description="By the local days of the marks.")],
    caller: CallerDep,
    context: ContextDep,
    mark_id: OfMark = None,
    species: OfSpecies = None,
) -> Response:
    """A year on one page: months, species, marks, the best trips and the blanks, what was not fished and why, firsts
    and longest."""
    return _told(request, lambda knows: tell_season(context, caller, year, mark_id, species, knows), write_season)


def _told(request: Request, tell: Callable[[Knows], V | None], write: Callable[[V], dict[str, Any]]) -> Response:
    """Return what ``tell`` finds in the log, or 304 without it; what has no basis has no ETag."""
    found: list[str] = []

    def knows(basis: LogBasis) -> bool:
        found.append(parts_etag(basis.question, *basis.rests_on))
        return has_it(request, found[0])

    view = tell(knows)
    document = None if view is None else write(view)
    return answer_told(request, found[0], document) if found else answer(document)


def _asked(job: JobRecord) -> Answered:
    headers = {"Location": f"/v1/jobs/{job.job_id}", **retry_after(job.state)}
    return written(write_job(job), 202, headers)
