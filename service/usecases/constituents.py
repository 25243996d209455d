"""Constituents of a station's tide model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.security import Caller
from service.usecases.context import Context
from service.usecases.inputs import Input, station_input
from service.usecases.stations import ServedModel, serve_models


@dataclass(frozen=True, slots=True)
class ConstituentsBasis:
    """What constituents rest on: the model that holds them."""

    served: ServedModel

    @property
    def inputs(self) -> Sequence[Input]:
        """The station."""
        return [station_input(self.served)]

    @property
    def query(self) -> Mapping[str, Any]:
        """Nothing but that it is constituents."""
        return {"series": "constituents"}


def get_constituents(context: Context, caller: Caller, station_id: str, version: int | None) -> ServedModel:
    """Return the model of a station, which holds its constituents; raises as `serve_models`."""
    return find_constituents_basis(context, caller, station_id, version).served


def find_constituents_basis(
    context: Context, caller: Caller, station_id: str, version: int | None
) -> ConstituentsBasis:
    """Return what the constituents of a station rest on; raises as `serve_models`."""
    with context.store.unit(caller.account_id) as unit:
        return ConstituentsBasis(serve_models(context, unit, [station_id], version)[0])
