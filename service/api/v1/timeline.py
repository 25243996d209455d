"""Routes of timelines."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from service.api.conditional import SeriesRoute, answer_series
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, MarkId, MarkIds, SpanDep, StepDep, VersionQuery, ZoneDep
from service.api.media import answer
from service.api.negotiation import COVERAGEJSON, CSV, JSON, NETCDF, negotiated, offer, write_series
from service.api.v1.schemas.filters import FilterDep
from service.api.v1.schemas.timeline import (
    CSV_EXAMPLE,
    Timeline,
    TimelinesOfMany,
    export_timelines,
    write_timeline,
    write_timelines,
)
from service.usecases import timeline
from service.usecases.filtering import check_one_axis

router = APIRouter(tags=["marks"], route_class=SeriesRoute)

FormDep = Annotated[str, Depends(negotiated(JSON, CSV, COVERAGEJSON, NETCDF))]
Factors = Annotated[
    list[Annotated[str, Query(max_length=80)]] | None,
    Query(min_length=1, max_length=200, description="Names of factors, as /v1/factors lists them; all unless given."),
]
Hazards = Annotated[
    bool | None,
    Query(
        description="Whether CSV has the worst hazards of each step too: the grade, which, and what is not assessed, "
        "with nothing known of who goes. Unless given it has them where no factor is chosen. Other forms have none."
    ),
]
_RESPONSES = offer(CSV_EXAMPLE, COVERAGEJSON, NETCDF) | declare(
    "not-found",
    "no-model",
    "invalid-span",
    "span-too-long",
    "too-many-points",
    "outside-ephemeris",
    "invalid-input",
    "invalid-filter",
    "model-unreadable",
    "not-acceptable",
)


@router.get(
    "/timelines",
    operation_id="get_timelines_of_many",
    summary="Timelines of many marks",
    response_model=TimelinesOfMany,
    responses=_RESPONSES,
)
def get_timelines_of_many(
    request: Request,
    mark_id: MarkIds,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    within: FilterDep,
    factor: Factors = None,
    hazards: Hazards = None,
) -> Response:
    """Chosen factors of many marks in one call, all at the same instants."""
    told = form == CSV and (factor is None if hazards is None else hazards)
    basis = timeline.find_timeline_basis(context, caller, mark_id, span, step, factor, None, within, hazards=told)
    if form == NETCDF:
        check_one_axis(within, len(basis.marks))

    def write() -> Response:
        views = timeline.build_mark_timelines(basis)
        if form == JSON:
            return answer(write_timelines(views, zone))
        return write_series(form, export_timelines(views), zone)

    return answer_series(request, basis, form, zone, write)


@router.get(
    "/marks/{mark_id}/timeline",
    operation_id="get_timeline",
    summary="Timeline of a mark",
    response_model=Timeline,
    responses=_RESPONSES,
)
def get_timeline(
    request: Request,
    mark_id: MarkId,
    span: SpanDep,
    step: StepDep,
    zone: ZoneDep,
    form: FormDep,
    caller: CallerDep,
    context: ContextDep,
    within: FilterDep,
    version: VersionQuery = None,
    factor: Factors = None,
    hazards: Hazards = None,
) -> Response:
    """Chosen factors of a mark as columns, at whole multiples of the step since 1970."""
    told = form == CSV and (factor is None if hazards is None else hazards)
    basis = timeline.find_timeline_basis(context, caller, [mark_id], span, step, factor, version, within, hazards=told)

    def write() -> Response:
        views = timeline.build_mark_timelines(basis)
        if form == JSON:
            return answer(write_timeline(views[0], zone))
        return write_series(form, export_timelines(views), zone)

    return answer_series(request, basis, form, zone, write)
