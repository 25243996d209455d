"""The kinds of things that can be imported."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.usecases.import_kinds.catches import CatchImport
from service.usecases.import_kinds.diary_rows import DiaryRowImport
from service.usecases.import_kinds.kind import ImportKind
from service.usecases.import_kinds.marks import MarkImport
from service.usecases.import_kinds.methods import MethodImport
from service.usecases.import_kinds.regulations import RegulationImport
from service.usecases.import_kinds.stations import StationImport
from service.usecases.import_kinds.trips import TripImport

#: Kind by its name; a new one is an entry here, with its name in the contract.
IMPORT_KINDS: Mapping[str, ImportKind[Any]] = {
    "mark": MarkImport(),
    "method": MethodImport(),
    "regulation": RegulationImport(),
    "station": StationImport(),
    "trip": TripImport(),
    "catch": CatchImport(),
    "diary_row": DiaryRowImport(),
}
