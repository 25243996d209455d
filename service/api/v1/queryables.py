"""Route of what filters may name."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from service.api.contract import declare
from service.api.media import StrictRoute, answer
from service.api.v1.schemas.queryables import SCHEMA_TYPE, write_queryables
from service.usecases import queryables

router = APIRouter(tags=["marks"], route_class=StrictRoute)


class SchemaDocument(JSONResponse):
    """A JSON Schema."""

    media_type = SCHEMA_TYPE


@router.get(
    "/queryables",
    operation_id="get_queryables",
    summary="What filters may name",
    response_model=dict[str, Any],
    response_class=SchemaDocument,
    responses=declare(),
)
def get_queryables(request: Request) -> Response:
    """The JSON Schema (draft 2020-12) of the columns that a CQL2 filter may name: type, unit, categories, meaning."""
    response = answer(write_queryables(queryables.list_queryables(), request.url.path))
    response.headers["content-type"] = SCHEMA_TYPE
    return response
