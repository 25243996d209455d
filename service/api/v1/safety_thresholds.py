"""Routes of the safety thresholds of an account."""

from __future__ import annotations

from datetime import UTC, datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.api.conditional import answer_document, declare_conditional, document_etag
from service.api.contract import declare
from service.api.deps import CallerDep, ContextDep
from service.api.editing import EDIT, IfMatch, IfMatchDep, MergePatch, merge_patch, patch_example, respond, written
from service.api.media import StrictRoute
from service.api.v1.schemas.safety_thresholds import (
    PATCH_EXAMPLE,
    SafetyThresholds,
    SafetyThresholdsReplace,
    write_thresholds_view,
)
from service.usecases.safety_thresholds import Expected, ThresholdsView, read_thresholds, write_thresholds
from tidecore.safety import Thresholds

router = APIRouter(prefix="/safety-thresholds", tags=["safety"], route_class=StrictRoute)

#: The stamp of thresholds that were never written.
_NEVER = datetime(1970, 1, 1, tzinfo=UTC)


@router.get(
    "",
    operation_id="get_safety_thresholds",
    summary="Read the safety thresholds",
    response_model=SafetyThresholds,
    responses=declare_conditional() | declare(),
)
def get_safety_thresholds(request: Request, caller: CallerDep, context: ContextDep) -> Response:
    """Read from when on a hazard is one for this account; the defaults until it says otherwise."""
    view = read_thresholds(context, caller)
    return answer_document(request, _etag(view), lambda: write_thresholds_view(view))


@router.put(
    "",
    operation_id="replace_safety_thresholds",
    summary="Replace the safety thresholds",
    response_model=SafetyThresholds,
    responses=declare(*EDIT, document=True),
)
def replace_safety_thresholds(
    body: SafetyThresholdsReplace, caller: CallerDep, context: ContextDep, if_match: IfMatchDep
) -> Response:
    """Make what is sent the thresholds of the account. One that is looser than the default is named in every answer."""
    thresholds = body.to_thresholds()
    return _shown(write_thresholds(context, caller, _expected(if_match), lambda _known: thresholds))


@router.patch(
    "",
    operation_id="patch_safety_thresholds",
    summary="Change some safety thresholds",
    response_model=SafetyThresholds,
    responses=declare(*EDIT, document=True),
    openapi_extra=patch_example(PATCH_EXAMPLE),
)
def patch_safety_thresholds(body: MergePatch, caller: CallerDep, context: ContextDep, if_match: IfMatchDep) -> Response:
    """Change what is sent, by JSON Merge Patch; null brings a default back."""

    def change(known: Thresholds) -> Thresholds:
        return Thresholds.parse(merge_patch(known.to_document(), body))

    return _shown(write_thresholds(context, caller, _expected(if_match), change))


def _etag(view: ThresholdsView) -> str:
    return document_etag("safety_thresholds", view.account_id, view.version, view.updated_at or _NEVER)


def _expected(if_match: IfMatch) -> Expected:
    return lambda view: if_match.allows(_etag(view))


def _shown(view: ThresholdsView) -> Response:
    return respond(written(write_thresholds_view(view), 200, {"ETag": _etag(view)}))
