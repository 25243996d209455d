"""Levels of a station told above another datum than its own."""

from __future__ import annotations

from service.usecases.context import Context
from service.usecases.stations import ServedModel
from tidecore.datums import DATUMS, KnownLevel, TidalDatums, datum_offset
from tidecore.errors import DatumUnknown


def standard_datums(context: Context, served: ServedModel, *, short_record: bool) -> TidalDatums:
    """Return the tidal datums over the standard span, computed once for each version of a station's tide."""
    key, version = served.station.station_id, served.version
    found = context.decoded.find(TidalDatums, key, version)
    # A short record is refused each time unless asked for, kept or not.
    if found is None or (found.flags and not short_record):
        found = context.decoded.keep(key, version, served.model.datums(short_record=short_record))
    return found


def offset_to(context: Context, served: ServedModel, datum: str | None) -> float:
    """Return how far a datum lies above the station's own [m]: heights less this are above it; 0 without one.

    What a source states comes first, then what the constituents give.

    Raises
    ------
    DatumUnknown
        If the datum is neither stated nor computed here, or the station's own is unknown.
    DatumsUnreliable
        If it can only be computed, and the model was fitted to less than a year.
    """
    model = served.model
    if datum is None or datum == model.datum:
        return 0.0
    known = dict(model.stated_datums)
    if known and datum not in known:
        if datum not in DATUMS:
            raise DatumUnknown(datum, [*known, *(name for name in DATUMS if name not in known)])
        computed = standard_datums(context, served, short_record=False).levels
        for name, level in computed.items():
            if level is not None:
                known.setdefault(name, KnownLevel(level, "computed"))
    return datum_offset(known, datum, model.datum)
