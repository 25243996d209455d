"""Routes of the deployments, bites and catches of a trip: every edit of one is the next version of the trip."""

from __future__ import annotations

from typing import Any, TypeVar
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, inputs_etag
from service.api.contract import declare
from service.api.deps import BiteRef, CallerDep, CatchRef, ContextDep, DeploymentRef, TripId
from service.api.editing import (
    EDIT,
    ONCE,
    IfMatch,
    IfMatchDep,
    MergePatch,
    OnceDep,
    gone,
    patch_example,
    respond,
    seen,
    written,
)
from service.api.media import StrictRoute
from service.api.v1.schemas.trip_parts import (
    BITE_PATCH,
    CATCH_PATCH,
    DEPLOYMENT_PATCH,
    BiteCreate,
    CatchCreate,
    DeploymentCreate,
    LoggedBite,
    LoggedBiteList,
    LoggedCatch,
    LoggedCatchList,
    LoggedDeployment,
    LoggedDeploymentList,
    patched_part,
    write_part,
    write_parts,
)
from service.security import Caller
from service.usecases.context import Context
from service.usecases.once import Answered, Once
from service.usecases.trip_parts import (
    BITES,
    CATCHES,
    DEPLOYMENTS,
    Part,
    PartShown,
    add_part,
    get_part,
    remove_part,
    replace_part,
)
from service.usecases.trips import TRIP_LOG, TripShown
from tidecore.catchlog import TripPart

P = TypeVar("P", bound=TripPart)

router = APIRouter(prefix="/trips/{trip_id}", tags=["trips"], route_class=StrictRoute)

_READ = declare_conditional() | declare("not-found")
_ADD = declare("not-found", *EDIT, *ONCE, document=True)
_EDIT = declare("not-found", *EDIT, document=True)


@router.post(
    "/deployments",
    operation_id="create_deployment",
    summary="Add a deployment to a trip",
    status_code=201,
    response_model=LoggedDeployment,
    responses=_ADD,
)
def create_deployment(
    trip_id: TripId, body: DeploymentCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep, once: OnceDep
) -> Response:
    """Add a rod in use, with its casts and changes: within the trip, and not while the same rod is deployed already."""
    return _add(context, caller, DEPLOYMENTS, trip_id, body, if_match, once)


@router.get(
    "/deployments",
    operation_id="list_deployments",
    summary="List the deployments of a trip",
    response_model=LoggedDeploymentList,
    responses=_READ,
)
def list_deployments(request: Request, trip_id: TripId, caller: CallerDep, context: ContextDep) -> Response:
    """List the deployments of a trip in the order in which they were logged."""
    return _list(request, context, caller, DEPLOYMENTS, trip_id)


@router.get(
    "/deployments/{deployment_ref}",
    operation_id="get_deployment",
    summary="Read a deployment",
    response_model=LoggedDeployment,
    responses=_READ,
)
def get_deployment(
    request: Request, trip_id: TripId, deployment_ref: DeploymentRef, caller: CallerDep, context: ContextDep
) -> Response:
    """Read a deployment by its `ref`; the ETag is that of the trip."""
    return _get(request, context, caller, DEPLOYMENTS, trip_id, deployment_ref)


@router.put(
    "/deployments/{deployment_ref}",
    operation_id="replace_deployment",
    summary="Replace a deployment",
    response_model=LoggedDeployment,
    responses=_EDIT,
)
def replace_deployment(
    trip_id: TripId,
    deployment_ref: DeploymentRef,
    body: DeploymentCreate,
    caller: CallerDep,
    context: ContextDep,
    if_match: IfMatchDep,
) -> Response:
    """Put a deployment in the place of the one with this `ref`."""
    return _replace(context, caller, DEPLOYMENTS, trip_id, deployment_ref, body, if_match)


@router.patch(
    "/deployments/{deployment_ref}",
    operation_id="patch_deployment",
    summary="Change a deployment",
    response_model=LoggedDeployment,
    responses=_EDIT,
    openapi_extra=patch_example(DEPLOYMENT_PATCH),
)
def patch_deployment(
    trip_id: TripId,
    deployment_ref: DeploymentRef,
    body: MergePatch,
    caller: CallerDep,
    context: ContextDep,
    if_match: IfMatchDep,
) -> Response:
    """Change what is sent of a deployment, by JSON Merge Patch."""
    return _patch(context, caller, DEPLOYMENTS, trip_id, deployment_ref, body, if_match)


@router.delete(
    "/deployments/{deployment_ref}",
    operation_id="delete_deployment",
    summary="Delete a deployment",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", "in-use", *EDIT),
)
def delete_deployment(
    trip_id: TripId, deployment_ref: DeploymentRef, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Take a deployment out of the trip, in the trip's next version; not one that a bite or catch names."""
    return _remove(context, caller, DEPLOYMENTS, trip_id, deployment_ref, if_match)


@router.post(
    "/bites",
    operation_id="create_bite",
    summary="Add a bite to a trip",
    status_code=201,
    response_model=LoggedBite,
    responses=_ADD,
)
def create_bite(
    trip_id: TripId, body: BiteCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep, once: OnceDep
) -> Response:
    """Add a bite, whatever came of it; `deployment` is the `ref` of the rod, where it is known."""
    return _add(context, caller, BITES, trip_id, body, if_match, once)


@router.get(
    "/bites",
    operation_id="list_bites",
    summary="List the bites of a trip",
    response_model=LoggedBiteList,
    responses=_READ,
)
def list_bites(request: Request, trip_id: TripId, caller: CallerDep, context: ContextDep) -> Response:
    """List the bites of a trip in the order in which they were logged."""
    return _list(request, context, caller, BITES, trip_id)


@router.get(
    "/bites/{bite_ref}",
    operation_id="get_bite",
    summary="Read a bite",
    response_model=LoggedBite,
    responses=_READ,
)
def get_bite(request: Request, trip_id: TripId, bite_ref: BiteRef, caller: CallerDep, context: ContextDep) -> Response:
    """Read a bite by its `ref`; the ETag is that of the trip."""
    return _get(request, context, caller, BITES, trip_id, bite_ref)


@router.put(
    "/bites/{bite_ref}",
    operation_id="replace_bite",
    summary="Replace a bite",
    response_model=LoggedBite,
    responses=_EDIT,
)
def replace_bite(
    trip_id: TripId, bite_ref: BiteRef, body: BiteCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Put a bite in the place of the one with this `ref`."""
    return _replace(context, caller, BITES, trip_id, bite_ref, body, if_match)


@router.patch(
    "/bites/{bite_ref}",
    operation_id="patch_bite",
    summary="Change a bite",
    response_model=LoggedBite,
    responses=_EDIT,
    openapi_extra=patch_example(BITE_PATCH),
)
def patch_bite(
    trip_id: TripId, bite_ref: BiteRef, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent of a bite, by JSON Merge Patch."""
    return _patch(context, caller, BITES, trip_id, bite_ref, body, if_match)


@router.delete(
    "/bites/{bite_ref}",
    operation_id="delete_bite",
    summary="Delete a bite",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_bite(
    trip_id: TripId, bite_ref: BiteRef, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Take a bite out of the trip, in the trip's next version."""
    return _remove(context, caller, BITES, trip_id, bite_ref, if_match)


@router.post(
    "/catches",
    operation_id="create_catch",
    summary="Add a catch to a trip",
    status_code=201,
    response_model=LoggedCatch,
    responses=_ADD,
)
def create_catch(
    trip_id: TripId, body: CatchCreate, caller: CallerDep, context: ContextDep, if_match: IfMatchDep, once: OnceDep
) -> Response:
    """Add one fish, kept or returned; `deployment` is the `ref` of the rod, where it is known."""
    return _add(context, caller, CATCHES, trip_id, body, if_match, once)


@router.get(
    "/catches",
    operation_id="list_catches",
    summary="List the catches of a trip",
    response_model=LoggedCatchList,
    responses=_READ,
)
def list_catches(request: Request, trip_id: TripId, caller: CallerDep, context: ContextDep) -> Response:
    """List the catches of a trip in the order in which they were logged."""
    return _list(request, context, caller, CATCHES, trip_id)


@router.get(
    "/catches/{catch_ref}",
    operation_id="get_catch",
    summary="Read a catch",
    response_model=LoggedCatch,
    responses=_READ,
)
def get_catch(
    request: Request, trip_id: TripId, catch_ref: CatchRef, caller: CallerDep, context: ContextDep
) -> Response:
    """Read a catch by its `ref`; the ETag is that of the trip."""
    return _get(request, context, caller, CATCHES, trip_id, catch_ref)


@router.put(
    "/catches/{catch_ref}",
    operation_id="replace_catch",
    summary="Replace a catch",
    response_model=LoggedCatch,
    responses=_EDIT,
)
def replace_catch(
    trip_id: TripId,
    catch_ref: CatchRef,
    body: CatchCreate,
    caller: CallerDep,
    context: ContextDep,
    if_match: IfMatchDep,
) -> Response:
    """Put a catch in the place of the one with this `ref`."""
    return _replace(context, caller, CATCHES, trip_id, catch_ref, body, if_match)


@router.patch(
    "/catches/{catch_ref}",
    operation_id="patch_catch",
    summary="Change a catch",
    response_model=LoggedCatch,
    responses=_EDIT,
    openapi_extra=patch_example(CATCH_PATCH),
)
def patch_catch(
    trip_id: TripId, catch_ref: CatchRef, body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Change what is sent of a catch, by JSON Merge Patch."""
    return _patch(context, caller, CATCHES, trip_id, catch_ref, body, if_match)


@router.delete(
    "/catches/{catch_ref}",
    operation_id="delete_catch",
    summary="Delete a catch",
    status_code=204,
    response_class=Response,
    responses=declare("not-found", *EDIT),
)
def delete_catch(
    trip_id: TripId, catch_ref: CatchRef, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Take a catch out of the trip, in the trip's next version."""
    return _remove(context, caller, CATCHES, trip_id, catch_ref, if_match)


def _etag(trip: TripShown) -> str:
    return inputs_etag(trip.inputs)


def _add(
    context: Context, caller: Caller, part: Part[P], trip_id: str, body: P, if_match: IfMatch, once: Once
) -> Response:
    new, allows = _plain(part, body), seen(if_match, _etag)

    def written_at(shown: PartShown[P]) -> Answered:
        place = f"/v1/trips/{trip_id}/{part.field}/{quote(shown.part.ref, safe='')}"
        return _written(part, shown, 201, {"Location": place})

    return respond(
        once.run(context, caller, lambda keep: add_part(context, caller, part, trip_id, new, allows, keep), written_at)
    )


def _list(request: Request, context: Context, caller: Caller, part: Part[P], trip_id: str) -> Response:
    trip = TRIP_LOG.get(context, caller, trip_id)
    return answer_document(request, _etag(trip), lambda: write_parts(part, trip))


def _get(request: Request, context: Context, caller: Caller, part: Part[P], trip_id: str, ref: str) -> Response:
    shown = get_part(context, caller, part, trip_id, ref)
    return answer_document(request, _etag(shown.trip), lambda: write_part(part, shown))


def _replace(
    context: Context, caller: Caller, part: Part[P], trip_id: str, ref: str, body: P, if_match: IfMatch
) -> Response:
    new = _plain(part, body)
    shown = replace_part(context, caller, part, trip_id, ref, seen(if_match, _etag), lambda _current: new)
    return respond(_written(part, shown, 200, {}))


def _patch(
    context: Context, caller: Caller, part: Part[P], trip_id: str, ref: str, body: dict[str, Any], if_match: IfMatch
) -> Response:
    shown = replace_part(
        context, caller, part, trip_id, ref, seen(if_match, _etag), lambda current: patched_part(part, current, body)
    )
    return respond(_written(part, shown, 200, {}))


def _remove(context: Context, caller: Caller, part: Part[P], trip_id: str, ref: str, if_match: IfMatch) -> Response:
    remove_part(context, caller, part, trip_id, ref, seen(if_match, _etag))
    return gone()


def _plain(part: Part[P], body: P) -> P:
    """Return a thing as a trip holds it: documents of two classes are never equal."""
    return part.model.model_construct(**{name: getattr(body, name) for name in part.model.model_fields})


def _written(part: Part[P], shown: PartShown[P], status: int, headers: dict[str, str]) -> Answered:
    return written(write_part(part, shown), status, {**headers, "ETag": _etag(shown.trip)})
