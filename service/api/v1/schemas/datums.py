"""Tidal datums in answers."""

from __future__ import annotations

import math
import zoneinfo
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from service.api.instants import write_instant
from service.api.media import number
from service.api.v1.schemas.common import InstantText, Schema
from service.api.v1.schemas.heights import zone_name
from service.exports.series import Column, Table
from service.usecases.stations import ServedModel
from tidecore.datums import DATUMS, TidalDatums

CSV_EXAMPLE = (
    "station_id,version,datum,name,level_m,approximation_m\r\n"
    "stn_06hq3vy6vc0s2j0q8k5m1x2w3z,1,gauge zero,MHWS,5.906,5.940\r\n"
)


class DatumLevel(Schema):
    """One tidal datum."""

    name: str
    meaning: str
    level_m: Annotated[
        float | None, Field(description="Above the station's datum; null where the tide has no such datum.")
    ]
    approximation_m: Annotated[
        float | None, Field(description="The same by Z0 +- (M2 + S2) or Z0 +- (M2 - S2); null for the others.")
    ]


class StatedDatum(Schema):
    """A datum as a source states it."""

    datum: str
    level_m: Annotated[float, Field(description="Above the station's datum.")]
    source: str


class Datums(Schema):
    """Tidal datums of one version of a station's tide, from high to low, without weather."""

    station_id: str
    version: int
    datum: Annotated[str, Field(description="What the levels are above: the station's datum.")]
    time_zone: str
    start: Annotated[InstantText, Field(description="Start of the span that means are over.")]
    end: InstantText
    extremes_start: Annotated[InstantText, Field(description="Start of the span that HAT and LAT are over.")]
    extremes_end: InstantText
    form_number: Annotated[float | None, Field(description="(K1 + O1) / (M2 + S2); null where M2 and S2 are absent.")]
    range_cycle: Annotated[
        Literal["springs-neaps", "tropic-equatorial"], Field(description="The cycle that the daily range follows.")
    ]
    convention: Literal["utide", "noaa", "ticon"]
    record_days: Annotated[
        float | None, Field(description="Length of the record fitted; null where constituents were given.")
    ]
    flags: Annotated[
        list[Literal["short_record"]],
        Field(description="short_record: fitted to less than a year, so that seasons are wrong or missing."),
    ]
    levels: list[DatumLevel]
    stated: Annotated[list[StatedDatum], Field(description="Datums as sources state them, chart datum among them.")]
    numerics: int
    code_version: str


def write_datums(served: ServedModel, found: TidalDatums, zone: zoneinfo.ZoneInfo | None) -> dict[str, Any]:
    """Return tidal datums as `Datums` has them."""
    model = served.model
    return {
        "station_id": served.station.station_id,
        "version": served.version,
        "datum": model.datum,
        "time_zone": zone_name(zone),
        "start": write_instant(found.span.start_us, zone),
        "end": write_instant(found.span.end_us, zone),
        "extremes_start": write_instant(found.extreme_span.start_us, zone),
        "extremes_end": write_instant(found.extreme_span.end_us, zone),
        "form_number": number(found.form_number, 3) if math.isfinite(found.form_number) else None,
        "range_cycle": found.cycle,
        "convention": model.convention,
        "record_days": None if found.record_days is None else number(found.record_days, 1),
        "flags": list(found.flags),
        "levels": [
            {
                "name": name,
                "meaning": meaning,
                "level_m": _level(found.levels[name]),
                "approximation_m": _level(found.approximations.get(name)),
            }
            for name, meaning in DATUMS.items()
        ],
        "stated": [{"datum": one.name, "level_m": one.level, "source": one.source} for one in model.datum_levels],
        "numerics": model.numerics,
        "code_version": model.code_version,
    }


def export_datums(served: ServedModel, found: TidalDatums) -> Table:
    """Return tidal datums for the forms other than JSON."""
    about = {
        "station_id": served.station.station_id,
        "version": str(served.version),
        "datum": served.model.datum,
    }
    columns = [Column(name, "text", np.full(len(DATUMS), value), "what it rests on") for name, value in about.items()]
    columns += [
        Column("name", "text", np.array(list(DATUMS)), "datum"),
        Column("level", "number", _column(found.levels), "level above the station's datum", "m", 3),
        Column("approximation", "number", _column(found.approximations), "the same by M2 and S2 alone", "m", 3),
    ]
    return Table(f"datums_{served.station.station_id}_{served.version}", columns)


def _level(value: float | None) -> float | None:
    return None if value is None else number(value, 3)


def _column(values: Any) -> Any:
    return np.array([np.nan if values.get(name) is None else values[name] for name in DATUMS])
