"""Constituents of a station's tide model."""

from __future__ import annotations

from service.security import Caller
from service.usecases.context import Context
from service.usecases.stations import ServedModel, serve_model


def get_constituents(context: Context, caller: Caller, station_id: str, version: int | None) -> ServedModel:
    """Return the model of a station, which holds its constituents; raises as `serve_model`."""
    with context.store.unit(caller.account_id) as unit:
        return serve_model(context, unit, station_id, version)
