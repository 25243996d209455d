"""Constituents of a station's tide model."""

from __future__ import annotations

from service.security import Caller
from service.usecases.context import Context
from service.usecases.inputs import ModelBasis
from service.usecases.stations import ServedModel, serve_models


def get_constituents(context: Context, caller: Caller, station_id: str, version: int | None) -> ServedModel:
    """Return the model of a station, which holds its constituents; raises as `serve_models`."""
    return find_constituents_basis(context, caller, station_id, version).served


def find_constituents_basis(context: Context, caller: Caller, station_id: str, version: int | None) -> ModelBasis:
    """Return what the constituents of a station rest on; raises as `serve_models`."""
    with context.store.unit(caller.account_id) as unit:
        return ModelBasis(serve_models(context, unit, [station_id], version)[0], "constituents")
