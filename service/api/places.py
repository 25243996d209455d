"""Where in a request a field stands, by what its route takes: errors of the domain know names alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import Request
from fastapi.dependencies.models import Dependant
from pydantic import BaseModel


def query_names(dependant: Dependant) -> Iterator[str]:
    """Return the names of all query parameters of a route, those of a model of parameters one by one."""
    for field in dependant.query_params:
        annotation = field.field_info.annotation
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            yield from annotation.model_fields
        else:
            yield field.alias
    for dependency in dependant.dependencies:
        yield from query_names(dependency)


def place_of(request: Request, field: str) -> str | None:
    """Return whether a field (a dotted path) is of the query, the path, a header or the body; None if nobody knows.

    A name that a route takes in query and body is where it was given, in the query before the body.
    """
    route: Any = request.scope.get("route")
    if getattr(route, "dependant", None) is None:
        return None
    name = field.partition(".")[0]
    if name in request.path_params:
        return "path"
    if name.lower() in _header_names(route.dependant):
        return "header"
    if name in request.query_params:
        return "query"
    if _in_body(route, name):
        return "body"
    return "query" if name in query_names(route.dependant) else None


def holder_of(request: Request, value: str) -> tuple[str, str] | None:
    """Return the place, and the name or dotted path there, of the field that holds a value, or is called so; None where
    none is."""
    document = getattr(request.state, "document", None)
    given = (
        ("path", request.path_params.items()),
        ("query", request.query_params.multi_items()),
        ("body", _texts(document)),
        ("body", _names(document)),
    )
    return next(((place, name) for place, items in given for name, one in items if str(one) == value), None)


def _texts(document: object, path: str = "") -> Iterator[tuple[str, str]]:
    """Yield every text of a document with its dotted path."""
    if isinstance(document, str):
        yield path, document
    elif isinstance(document, dict | list):
        for name, one in document.items() if isinstance(document, dict) else enumerate(document):
            yield from _texts(one, f"{path}.{name}" if path else str(name))


def _names(document: object, path: str = "") -> Iterator[tuple[str, str]]:
    """Yield every field of a document that somebody called so, with its dotted path."""
    if isinstance(document, dict | list):
        for name, one in document.items() if isinstance(document, dict) else enumerate(document):
            here = f"{path}.{name}" if path else str(name)
            if isinstance(name, str):
                yield here, name
            yield from _names(one, here)


def _header_names(dependant: Dependant) -> Iterator[str]:
    yield from (field.alias.lower() for field in dependant.header_params)
    for dependency in dependant.dependencies:
        yield from _header_names(dependency)


def _in_body(route: Any, name: str) -> bool:
    """Return whether the body that a route takes may hold a field; of one that is no model, any."""
    if route.body_field is None:
        return "requestBody" in (route.openapi_extra or {})
    model = route.body_field.field_info.annotation
    if name == "body" or not (isinstance(model, type) and issubclass(model, BaseModel)):
        return True
    return any(name in (known, field.alias) for known, field in model.model_fields.items())
