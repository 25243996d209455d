"""Exports: the forms that can be asked for, and what they look like."""

from __future__ import annotations

from typing import Literal

from service.api.negotiation import ARCHIVE, CSV, NDJSON

TripForm = Literal["ndjson", "csv", "dwca"]
RowForm = Literal["ndjson", "csv"]

#: Form -> its media type.
FORMS = {"ndjson": NDJSON, "csv": CSV, "dwca": ARCHIVE}

TRIP_SHEET = (
    "client_ref,trip,at,precision_min,deployment,species.scientific_name,...\r\n"
    "c1,long-beach-1,2026-06-01T04:10:00Z,5,d1,Dicentrarchus labrax,...\r\n"
)
DIARY_SHEET = (
    "client_ref,date,mark,hours.from,hours.to,tide.event,...\r\nold-1,1998-11-05,long-beach,,,high_water,...\r\n"
)
