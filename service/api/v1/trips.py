"""Routes of trips: logged, read, edited with their history, corrected, restored, deleted."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, inputs_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep, OfMark, TripId, VersionOfDocument
from service.api.editing import (
    EDIT,
    ONCE,
    IfMatchDep,
    IfMatchOrNone,
    MergePatch,
    OnceDep,
    gone,
    patch_example,
    respond,
    seen,
    written,
)
from service.api.instants import Instant
from service.api.media import StrictRoute, answer
from service.api.paging import Cursor, Limit, check_limit, read_log_place, write_log_place
from service.api.v1.schemas.common import Reference, WantedReference
from service.api.v1.schemas.trips import (
    PATCH_EXAMPLE,
    LoggedTrip,
    LoggedTripList,
    TripCorrectionList,
    TripCorrections,
    TripCreate,
    TripRestore,
    patched_trip,
    replaced_trip,
    write_corrections,
    write_stored_trips,
    write_trip,
    write_trips,
)
from service.api.v1.schemas.versions import DocumentVersionList, write_versions
from service.errors import DocumentInvalid
from service.usecases.logged import LogQuestion
from service.usecases.once import Answered
from service.usecases.stored_trips import list_stored_trips
from service.usecases.trips import TRIP_LOG, TRIPS, TripShown, correct_trip, restore_trip
from tidecore.errors import Fault

router = APIRouter(prefix="/trips", tags=["trips"], route_class=StrictRoute)

Outcome = Annotated[
    Literal["fished", "blank", "not_fished"] | None, Query(description="Only trips that ended so; all unless given.")
]


@router.post(
    "",
    operation_id="create_trip",
    summary="Log a trip",
    status_code=201,
    response_model=LoggedTrip,
    responses=declare("reference-taken", "store-conflict", *ONCE, document=True),
)
def create_trip(body: TripCreate, caller: CallerDep, context: ContextDep, once: OnceDep) -> Response:
    """Log a trip with its deployments, bites and catches; every fault of it is named at once. Deployments, bites and
    catches without a `ref` are given one. A blank is a trip that was fished without a catch; `not_fished` says why, and
    is no effort."""
    draft = body.to_draft()
    return respond(once.run(context, caller, lambda keep: TRIP_LOG.create(context, caller, draft, keep), _made))


@router.get(
    "",
    operation_id="list_trips",
    summary="List trips",
    response_model=LoggedTripList,
    responses=declare("not-found", "cursor-invalid", "invalid-input"),
)
def list_trips(
    request: Request,
    caller: CallerDep,
    context: ContextDep,
    mark_id: OfMark = None,
    from_: Annotated[Instant | None, Query(alias="from", description="Only trips that started then or later.")] = None,
    to: Annotated[Instant | None, Query(description="Only trips that started before.")] = None,
    outcome: Outcome = None,
    cursor: Cursor = None,
    limit: Limit = 100,
    external_ref: WantedReference = None,
) -> Response:
    """List the trips of the account by their start, a page at a time, or the one that it calls by a reference."""
    limit = check_limit(request, limit)
    if external_ref is not None:
        return answer(write_trips(TRIP_LOG.named(context, caller, external_ref), None))
    if from_ is not None and to is not None and to <= from_:
        raise DocumentInvalid(Fault("to", f"is {to.isoformat()}, not after from", "a later instant, or none"))
    after = read_log_place("trips", cursor, datetime.fromisoformat)
    page = list_stored_trips(context, caller, LogQuestion(mark_id, from_, to, outcome, after), limit)
    return answer(write_stored_trips(page, write_log_place("trips", page.after)))


@router.put(
    "",
    operation_id="put_trip",
    summary="Log or replace a trip by its reference",
    response_model=LoggedTrip,
    responses={
        201: {"model": LoggedTrip, "description": "It was not there, and has been logged."},
        **declare("precondition-missing", "stale", "store-conflict", document=True),
    },
)
def put_trip(
    external_ref: Reference, body: TripCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchOrNone
) -> Response:
    """Log the trip that the account calls `external_ref`, or replace what is there; `external_ref` of the body is not
    looked at. What is there already, word for word, needs no If-Match."""
    given = None if if_match is None else lambda shown: if_match.allows(_etag(shown))
    shown, made = TRIP_LOG.put(context, caller, body.to_draft(), external_ref, given)
    return respond(_made(shown) if made else _shown(shown))


@router.get(
    "/{trip_id}",
    operation_id="get_trip",
    summary="Read a trip",
    response_model=LoggedTrip,
    responses=declare_conditional() | declare("not-found"),
)
def get_trip(
    request: Request, trip_id: TripId, caller: CallerDep, context: ContextDep, version: VersionOfDocument = None
) -> Response:
    """Read a trip as it stands, or as it was in a version; with its effort, and what is to be said of each reach."""
    shown = TRIP_LOG.get(context, caller, trip_id, version)
    return answer_document(request, _etag(shown), lambda: write_trip(shown))


@router.get(
    "/{trip_id}/versions",
    operation_id="list_trip_versions",
    summary="List the versions of a trip",
    response_model=DocumentVersionList,
    responses=declare("not-found"),
)
def list_trip_versions(trip_id: TripId, caller: CallerDep, context: ContextDep) -> Response:
    """List every version of a trip, oldest first; each can still be read."""
    return answer(write_versions(TRIPS.versions(context, caller, trip_id)))


@router.put(
    "/{trip_id}",
    operation_id="replace_trip",
    summary="Replace a trip",
    response_model=LoggedTrip,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
)
def replace_trip(
    trip_id: TripId, body: TripCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Make what is sent the next version of a trip; the same again makes none. Corrections on record stay."""
    draft, allows = body.to_draft(), seen(if_match, _etag)
    return respond(_shown(TRIP_LOG.edit(context, caller, trip_id, allows, lambda view: replaced_trip(view, draft))))


@router.patch(
    "/{trip_id}",
    operation_id="patch_trip",
    summary="Change a trip",
    response_model=LoggedTrip,
    responses=declare("not-found", "reference-taken", *EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_trip(
    trip_id: TripId, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent, by JSON Merge Patch over the fields of a new trip; the result is its next version. Lists are
    replaced whole: one deployment, bite or catch alone is changed at its own path."""
    allows = seen(if_match, _etag)
    return respond(_shown(TRIP_LOG.edit(context, caller, trip_id, allows, lambda view: patched_trip(view, body))))


@router.delete(
    "/{trip_id}",
    operation_id="delete_trip",
    summary="Delete a trip",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_trip(trip_id: TripId, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Delete a trip with all its versions."""
    TRIP_LOG.remove(context, caller, trip_id, seen(if_match, _etag))
    return gone()


@router.post(
    "/{trip_id}/restore",
    operation_id="restore_trip",
    summary="Undo edits of a trip",
    response_model=LoggedTrip,
    responses=declare("not-found", *EDIT, *ONCE, document=True),
)
def restore_trip_version(
    trip_id: TripId, body: TripRestore, caller: CallerDep, context: ContextDep, if_match: IfMatchDep, once: OnceDep
) -> Response:
    """Make what a version said the newest version, its corrections too; no version is lost by it."""
    allows, version = seen(if_match, _etag), body.version
    return respond(
        once.run(context, caller, lambda keep: restore_trip(context, caller, trip_id, version, allows, keep), _shown)
    )


@router.post(
    "/{trip_id}/corrections",
    operation_id="correct_trip",
    summary="Correct a trip",
    response_model=LoggedTrip,
    responses=declare("not-found", *EDIT, *ONCE, document=True),
)
def correct_trip_record(
    trip_id: TripId, body: TripCorrections, caller: CallerDep, context: ContextDep, if_match: IfMatchDep, once: OnceDep
) -> Response:
    """Put right what is wrong in the record: each correction says what stood there, what stands there now and why, and
    is kept in the record. The version before can still be read."""
    allows, corrections = seen(if_match, _etag), body.to_corrections(context.clock())
    return respond(
        once.run(
            context, caller, lambda keep: correct_trip(context, caller, trip_id, corrections, allows, keep), _shown
        )
    )


@router.get(
    "/{trip_id}/corrections",
    operation_id="list_trip_corrections",
    summary="List the corrections of a trip",
    response_model=TripCorrectionList,
    responses=declare("not-found"),
)
def list_trip_corrections(trip_id: TripId, caller: CallerDep, context: ContextDep) -> Response:
    """List the corrections of a trip, in the order in which they were made."""
    return answer(write_corrections(TRIP_LOG.get(context, caller, trip_id)))


def _etag(shown: TripShown) -> str:
    return inputs_etag(shown.inputs)


def _shown(shown: TripShown) -> Answered:
    return written(write_trip(shown), 200, {"ETag": _etag(shown)})


def _made(shown: TripShown) -> Answered:
    headers = {"Location": f"/v1/trips/{shown.view.record.id}", "ETag": _etag(shown)}
    return written(write_trip(shown), 201, headers)
