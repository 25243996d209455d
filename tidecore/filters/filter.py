"""A filter: a condition on the columns of a timeline, written in CQL2, true or false or unknown at each instant."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tidecore.errors import Fault, InvalidInput
from tidecore.filters.compiling import compile_filter
from tidecore.filters.nodes import (
    Arithmetic,
    BooleanColumn,
    Comparison,
    Condition,
    NumberColumn,
    OneOf,
    SameText,
    TimeWithin,
    parts_of,
)
from tidecore.filters.queryable import TIME, Queryable, queryables
from tidecore.filters.syntax import Language, read_filter
from tidecore.filters.temporal import FIRST_US, LAST_US
from tidecore.timeline import Timeline
from tidecore.units import AnyArray, BoolArray, FloatArray, IntArray


# No slots: what is worked out once is kept in the instance's dictionary.
@dataclass(frozen=True)
class Filter:
    """A condition on columns; made by `Filter.parse`. The object pickles.

    Parameters
    ----------
    condition : Condition
        The nodes it is compiled to.
    canonical : str
        Its tree as JSON, keys in order: one for two spellings of the same tree.
    """

    condition: Condition
    canonical: str

    @classmethod
    def parse(
        cls, given: object, columns: Mapping[str, Queryable] | None = None, *, language: Language | None = None
    ) -> Filter:
        """Return the filter that a text or a document of CQL2 states.

        Parameters
        ----------
        given : str or mapping
            CQL2 text, CQL2 JSON as text (``language="cql2-json"``), or a document of CQL2 JSON; at most 2,000
            characters.
        columns : mapping of name to Queryable, optional
            What it may name; the time and every factor unless given.
        language : str, optional
            How a text is written: ``"cql2-text"`` unless given.

        Raises
        ------
        InvalidFilter
            If it cannot be read, names what there is not, or compares what cannot be compared; with every fault of
            the last two kinds, and the place where one is known.

        Notes
        -----
        OGC 21-065r2. In scope: comparisons, BETWEEN, IN, LIKE, IS NULL, AND, OR, NOT, CASEI, ACCENTI, arithmetic, and
        temporal functions of ``time`` and TIMESTAMP, DATE or INTERVAL. Out of it: spatial and array functions.
        """
        written = read_filter(given, language)
        condition = compile_filter(written, queryables() if columns is None else columns)
        return cls(condition, json.dumps(written.tree, sort_keys=True, separators=(",", ":")))

    @property
    def document(self) -> Any:
        """The filter as CQL2 JSON."""
        return json.loads(self.canonical)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The columns that it reads, each once, ``time`` among them if it does."""
        found: dict[str, None] = {}
        for node in parts_of(self.condition):
            if isinstance(node, NumberColumn | BooleanColumn | OneOf):
                found[node.name] = None
            elif isinstance(node, SameText):
                found |= dict.fromkeys((node.left, node.right))
            elif isinstance(node, TimeWithin):
                found[TIME] = None
        return tuple(found)

    @property
    def factor_names(self) -> tuple[str, ...]:
        """The factors that it reads: its columns without the time."""
        return tuple(name for name in self.names if name != TIME)

    @cached_property
    def instants_us(self) -> IntArray:
        """The first instants at which a comparison with a time has changed, ascending [microseconds since 1970]."""
        edges = [
            edge
            for node in parts_of(self.condition)
            if isinstance(node, TimeWithin)
            for edge in (node.first_us, node.last_us + 1)
            if FIRST_US < edge < LAST_US
        ]
        return np.unique(np.array(edges, dtype=np.int64))

    @property
    def is_jagged(self) -> bool:
        """Whether it has parts that jump where no column does: ``div`` and ``%``."""
        return any(isinstance(node, Arithmetic) and node.op in ("div", "%") for node in parts_of(self.condition))

    def mask(self, columns: Mapping[str, AnyArray]) -> NDArray[np.int8]:
        """Return 1 where it is true, 0 where false and -1 where unknown, as a boolean column.

        Parameters
        ----------
        columns : mapping of name to array, shape ``(n,)``
            At least those it reads; ``time`` as ``datetime64`` or microseconds since 1970. At least one.

        Raises
        ------
        InvalidInput
            If a column is missing.
        """
        missing = [name for name in self.names if name not in columns]
        if missing or not columns:
            expected = f"columns {', '.join(self.names)}" if missing else "at least one column, for the length"
            raise InvalidInput([Fault(f"columns.{name}", "is missing", expected) for name in missing or ("",)])
        found = self.condition.truth(_plain(columns, self.names))
        count = next(iter(columns.values())).size
        mask = np.where(found.true, np.int8(1), np.where(found.false, np.int8(0), np.int8(-1)))
        return np.array(np.broadcast_to(mask, (count,)), dtype=np.int8)

    def holds(self, columns: Mapping[str, AnyArray]) -> BoolArray:
        """Return where it is true, by columns as `mask` takes them: neither where false nor where unknown."""
        return np.asarray(self.mask(columns) == 1)

    def mask_at(self, timeline: Timeline, times_us: IntArray | FloatArray) -> NDArray[np.int8]:
        """Return `mask` at instants of a timeline [microseconds since 1970], up to a day outside its span."""
        return self.mask(_at(timeline, times_us, self.factor_names))

    @cached_property
    def orders(self) -> tuple[Comparison, ...]:
        """The comparisons of numbers by order, each once: what turns where its two sides meet."""
        found = (node for node in parts_of(self.condition) if isinstance(node, Comparison))
        return tuple(dict.fromkeys(node for node in found if node.op not in ("=", "<>")))

    def columns_at(self, timeline: Timeline, times_us: IntArray | FloatArray) -> Mapping[str, AnyArray]:
        """Return the columns it reads at instants of a timeline [microseconds since 1970]."""
        return _plain(_at(timeline, times_us, self.factor_names), self.names)


def _at(timeline: Timeline, times_us: IntArray | FloatArray, names: tuple[str, ...]) -> dict[str, AnyArray]:
    times = np.rint(times_us).astype(np.int64)
    return {TIME: times, **timeline.at(times, names)}


def _plain(columns: Mapping[str, AnyArray], names: tuple[str, ...]) -> dict[str, AnyArray]:
    """Return the columns named, a time as microseconds since 1970."""
    found = {name: columns[name] for name in names}
    if TIME in found and found[TIME].dtype.kind == "M":
        found[TIME] = found[TIME].astype("datetime64[us]").view(np.int64)
    return found
