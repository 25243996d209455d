"""Routes of health; the only ones that ask for no key."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from service.api.contract import declare, needs
from service.api.deps import ContextDep
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.health import Live, Ready, Versions
from service.usecases import health

router = APIRouter(prefix="/health", tags=["health"], route_class=StrictRoute)


@router.get(
    "/live",
    operation_id="get_live",
    summary="Is the process alive?",
    response_model=Live,
    responses=declare(keyless=True),
    openapi_extra=needs(None),
)
async def get_live() -> Response:
    """Answer as long as the process does."""
    return answer({"status": "live"})


@router.get(
    "/ready",
    operation_id="get_ready",
    summary="Is the service ready?",
    response_model=Ready,
    responses=declare(keyless=True),
    openapi_extra=needs(None),
)
def get_ready(context: ContextDep) -> Response:
    """Say what was checked; 503 with everything that is missing where the service is not ready."""
    return answer({"status": "ready", "checks": health.check_ready(context)})


@router.get(
    "/versions", operation_id="get_versions", summary="Which versions run?", response_model=Versions,
    responses=declare(keyless=True), openapi_extra=needs(None),
)  # fmt: skip
def get_versions() -> Response:
    """Versions of the service, of its numbers, of Python and of the libraries under it."""
    return answer({"versions": health.list_versions()})
