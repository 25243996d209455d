"""The formats of files of rows; a new one is an entry here, and the module of its reader."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from service.imports.delimited import read_csv
from service.imports.geojson import read_geojson
from service.imports.ndjson import read_ndjson
from service.imports.rows import Reader


@dataclass(frozen=True, slots=True)
class Format:
    """One format: the content type of its files, and who reads them."""

    media_type: str
    read: Reader


#: Format by its name.
FORMATS: Mapping[str, Format] = {
    "ndjson": Format("application/x-ndjson", read_ndjson),
    "csv": Format("text/csv", read_csv),
    "geojson": Format("application/geo+json", read_geojson),
}
