"""The rows of one station in a table that may hold several."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from tidecore.errors import RecordAmbiguous, UnknownName
from tidecore.gauges.hints import Hints
from tidecore.units import BoolArray

#: Most stations that an error names.
_SHOWN = 20


def rows_of_station(hints: Hints, columns: Mapping[str, Sequence[str]]) -> tuple[BoolArray, str]:
    """Return which rows are those of one station, and what it is called.

    Parameters
    ----------
    hints : Hints
        Of which ``gauge`` is the station meant: the text of any of the ``columns``.
    columns : mapping
        Columns that tell stations apart, by name, the one that names them first; each of n cells.

    Raises
    ------
    UnknownName
        If no row has the station given.
    RecordAmbiguous
        If rows of several stations are left, which it names.
    """
    texts = {name: np.array([cell.strip() for cell in cells]) for name, cells in columns.items()}
    first = next(iter(texts.values()))
    rows = np.ones(first.shape, dtype=np.bool_)
    given = hints.text("gauge")
    if given is not None:
        rows = np.logical_or.reduce([text == given for text in texts.values()])
        if not rows.any():
            raise UnknownName("station", given, [str(name) for name in np.unique(first)[:_SHOWN]])
    found = {tuple(map(str, row)) for row in zip(*(text[rows] for text in texts.values()), strict=True)}
    if len(found) > 1:
        raise RecordAmbiguous("the station", _told_apart(found), "gauge=")
    return rows, next(iter(found))[0] if found else ""


def _told_apart(found: set[tuple[str, ...]]) -> list[str]:
    """Return what to call each of several stations: its name, or all that is said of it where names are the same."""
    ordered = sorted(found)[:_SHOWN]
    names = [cells[0] for cells in ordered]
    return names if len(set(names)) == len(names) and all(names) else [" ".join(cells).strip() for cells in ordered]
