"""Constituents in answers."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from service.api.media import number, numbers
from service.api.v1.schemas.common import Schema
from service.exports.series import Column, Table
from service.usecases.stations import ServedModel

CSV_EXAMPLE = (
    "station_id,version,convention,datum,name,amplitude_m,phase_deg\r\n"
    "stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,utide,gauge zero,M2,2.10000,140.000\r\n"
)


class Constituents(Schema):
    """The constituents of one version of a station's tide, as columns, largest first."""

    station_id: str
    version: int
    convention: Annotated[
        Literal["utide", "noaa", "ticon"],
        Field(description="The arguments and node factors that the constituents go with."),
    ]
    latitude: float
    datum: str
    mean_level_m: float
    form_number: Annotated[
        float | None, Field(description="(K1 + O1) / (M2 + S2); null where M2 and S2 are both absent.")
    ]
    mean_spring_range_m: float
    flow_normaliser_m_per_h: float
    numerics: int
    code_version: str
    input_hash: str
    names: list[str]
    amplitudes_m: list[float]
    phases_deg: Annotated[list[float], Field(description="Greenwich phase lags.")]
    node_powers: Annotated[
        list[float],
        Field(description="Powers of M2's node factor that multiply each constituent besides its own; 0 where none."),
    ]


def write_constituents(served: ServedModel) -> dict[str, Any]:
    """Return constituents as `Constituents` has them."""
    model = served.model
    lines = _lines(served)
    powers = model.harmonics.node_powers
    power_of = {} if powers is None else dict(zip(model.harmonics.names, powers.tolist(), strict=True))
    form = model.form_number
    return {
        "station_id": served.station.station_id,
        "version": served.version,
        "convention": model.convention,
        "latitude": model.latitude,
        "datum": model.datum,
        "mean_level_m": number(model.mean_level, 4),
        "form_number": number(form, 3) if math.isfinite(form) else None,
        "mean_spring_range_m": number(model.mean_spring_range, 3),
        "flow_normaliser_m_per_h": number(model.flow_normaliser, 4),
        "numerics": model.numerics,
        "code_version": model.code_version,
        "input_hash": model.input_hash,
        "names": [name for name, _ in lines],
        "amplitudes_m": numbers([amplitude for _, (amplitude, _) in lines], 5),
        "phases_deg": numbers([phase for _, (_, phase) in lines], 3),
        "node_powers": numbers([power_of.get(name, 0.0) for name, _ in lines], 4),
    }


def export_constituents(served: ServedModel) -> Table:
    """Return constituents for the forms other than JSON."""
    model, lines = served.model, _lines(served)
    about = {
        "station_id": served.station.station_id,
        "version": str(served.version),
        "convention": model.convention,
        "datum": model.datum,
    }
    columns = [Column(name, "text", np.full(len(lines), value), "what it rests on") for name, value in about.items()]
    columns += [
        Column("name", "text", np.array([name for name, _ in lines]), "constituent"),
        Column("amplitude", "number", np.array([one for _, (one, _) in lines]), "half its range", "m", 5),
        Column("phase", "number", np.array([one for _, (_, one) in lines]), "Greenwich phase lag", "degree", 3),
    ]
    return Table(f"constituents_{served.station.station_id}_{served.version}", columns)


def _lines(served: ServedModel) -> list[tuple[str, tuple[float, float]]]:
    """Return the constituents, largest first."""
    return sorted(served.model.constituents.items(), key=lambda line: (-line[1][0], line[0]))
