"""Conventions of constituents in answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from pydantic import Field

from service.api.media import number
from service.api.v1.schemas.common import Schema
from service.usecases.conventions import ConventionView


class NamedConstituent(Schema):
    """One name and its argument."""

    name: str
    multiples: Annotated[
        list[float],
        Field(
            min_length=6,
            max_length=6,
            description="Of mean lunar time, the longitudes of moon, sun and lunar perigee, minus that of the lunar "
            "node, and the longitude of the sun's perigee.",
        ),
    ]
    constant_deg: Annotated[float, Field(description="What is added to these.")]
    speed_deg_per_hour: float


class Convention(Schema):
    """A convention of constituents."""

    name: str
    meaning: str
    constituents: list[NamedConstituent]


class ConventionList(Schema):
    """Every convention."""

    items: list[Convention]


def write_conventions(views: Sequence[ConventionView]) -> dict[str, Any]:
    """Return conventions as `ConventionList` has them."""
    return {
        "items": [
            {
                "name": view.name,
                "meaning": view.meaning,
                "constituents": [
                    {
                        "name": line.name,
                        "multiples": list(line.multiples),
                        "constant_deg": number(line.constant_deg, 3),
                        "speed_deg_per_hour": number(line.speed_deg_per_hour, 7),
                    }
                    for line in view.lines
                ],
            }
            for view in views
        ]
    }
