"""A timeline: the factors of one mark over a span, as columns over one time axis and at any instant between."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from tidecore.errors import Fault, InvalidInput, InvalidSpan
from tidecore.place import Mark
from tidecore.timebase import TimeGrid, TimeSpan, from_microseconds
from tidecore.timeline.events import KeyTime, key_times, key_times_of_parts
from tidecore.timeline.frame import Frame
from tidecore.timeline.registry import factors, find_factor
from tidecore.timeline.sources import MARGIN_US, Sources
from tidecore.units import AnyArray, IntArray, UtcTimes

if TYPE_CHECKING:
    import xarray


class _Columns(Mapping[str, AnyArray]):
    """Columns by name, each worked out when it is first asked for, and read-only."""

    def __init__(self, names: tuple[str, ...], frame: Frame) -> None:
        self._names, self._frame = names, frame
        self._made: dict[str, AnyArray] = {}

    def __getitem__(self, name: str) -> AnyArray:
        if name not in self._made:
            if name not in self._names:
                raise KeyError(name)
            column = evaluate(self._frame, name)
            column.flags.writeable = False
            self._made[name] = column
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def evaluate(frame: Frame, name: str) -> AnyArray:
    """Return a factor at the instants of a frame: its values, or unknown ones where only a caller can give them."""
    factor = find_factor(name)
    if factor.compute is None:
        return factor.unknown(len(frame))
    return factor.compute(frame)


# No slots: what is worked out once is kept in the instance's dictionary. Nothing that can be seen ever changes.
@dataclass(frozen=True, eq=False)
class Timeline:
    """All factors of a mark over a half-open span; made by `build_timeline`.

    The axis are the whole multiples of the step since 1970 that lie in the span, so that an instant has the same
    values in every timeline that holds it. A column is worked out when it is first read, then kept. The object
    pickles.

    Parameters
    ----------
    sources : Sources
        The mark, its station's tide and its sky.
    grid : TimeGrid
        The axis.
    names : tuple of str
        The factors, in the order of the columns.
    """

    sources: Sources
    grid: TimeGrid
    names: tuple[str, ...]

    @property
    def mark(self) -> Mark:
        """The mark."""
        return self.sources.mark

    @property
    def span(self) -> TimeSpan:
        """The span asked for."""
        return self.sources.span

    @property
    def datum(self) -> str:
        """Datum of the heights: that of the station, unless the mark's offsets state one."""
        return self.sources.tables.datum

    @property
    def flow_reliable(self) -> bool:
        """Whether it is known when the stream turns at the mark."""
        return self.mark.flow_reliable

    @property
    def range_cycle(self) -> str:
        """Which cycle ``days_from_springs`` counts: ``"springs-neaps"`` or ``"tropic-equatorial"``."""
        return self.sources.cycle.kind

    @cached_property
    def times(self) -> UtcTimes:
        """The axis [UTC], shape ``(n,)``."""
        times = self.grid.times()
        times.flags.writeable = False
        return times

    @cached_property
    def columns(self) -> Mapping[str, AnyArray]:
        """The columns by name; float64 with NaN, text with ``""``, or int8 with -1 where a value is unknown."""
        return _Columns(self.names, Frame(self.sources, self.grid.times_us()))

    def at(self, times: AnyArray, names: Sequence[str] | None = None) -> dict[str, AnyArray]:
        """Return factors at any instants: the same values that a column has at that instant.

        Parameters
        ----------
        times : array, shape ``(m,)``
            Instants in any order, up to a day outside the span: ``datetime64``, or numbers of microseconds since
            1970, rounded to whole ones.
        names : sequence of str, optional
            Which factors; all of the timeline's unless given. Any factor of the registry may be named.

        Raises
        ------
        InvalidSpan
            If an instant lies more than a day outside the span.
        UnknownName
            If there is no such factor.
        """
        wanted = self.names if names is None else tuple(names)
        frame = Frame(self.sources, self._ticks(times))
        return {name: evaluate(frame, name) for name in wanted}

    def breaks_us(self, names: Sequence[str]) -> IntArray:
        """Return the instants from which one of the factors has jumped or turned a corner, ascending.

        Microseconds since 1970, from a day before the span to a day after it.
        """
        found = [factor.breaks(self.sources) for factor in map(find_factor, names) if factor.breaks is not None]
        if not found:
            return np.empty(0, dtype=np.int64)
        breaks = np.unique(np.concatenate(found))
        first, last = self.span.start_us - MARGIN_US, self.span.end_us + MARGIN_US
        return breaks[(breaks >= first) & (breaks <= last)]

    def events(self, start: np.datetime64 | None = None, end: np.datetime64 | None = None) -> tuple[KeyTime, ...]:
        """Return the key times in ``[start, end)`` [UTC], of the whole span unless given, in time order.

        Raises
        ------
        InvalidSpan
            If the end is not after the start, or one lies more than a day outside the span.
        """
        if start is None and end is None:
            return self._key_times
        span = TimeSpan(self.span.start if start is None else start, self.span.end if end is None else end)
        self._ticks(np.array([span.start_us, span.end_us]))
        return key_times(self.sources, span)

    def events_of_parts(self, parts_us: Sequence[tuple[int, int]]) -> list[tuple[KeyTime, ...]]:
        """Return the key times of the span that lie in each of its parts [microseconds since 1970], in time order."""
        return key_times_of_parts(self.sources, self.span, parts_us)

    @cached_property
    def _key_times(self) -> tuple[KeyTime, ...]:
        """The key times of the whole span."""
        return key_times(self.sources, self.span)

    def unknown_names(self) -> tuple[str, ...]:
        """Return the factors of this timeline of which no value is known."""
        registry = factors()
        return tuple(name for name in self.names if not registry[name].known(self.columns[name]).any())

    def provenance(self, name: str) -> str:
        """Return where the values of a factor come from in this timeline, its issues and their sources named.

        Raises
        ------
        UnknownName
            If there is no such factor.
        """
        factor = find_factor(name)
        return factor.provenance if factor.rests_on is None else factor.rests_on(self.sources)

    def to_xarray(self) -> xarray.Dataset:
        """Return the columns as a dataset along ``time``, with unit, meaning and provenance of each."""
        import xarray

        registry, variables = factors(), {}
        for name in self.names:
            factor = registry[name]
            attributes: dict[str, object] = {"long_name": factor.meaning, "provenance": self.provenance(name)}
            if factor.kind == "number":
                attributes["units"] = factor.unit
            elif factor.kind == "boolean":
                attributes |= {"flag_values": [0, 1, -1], "flag_meanings": "false true unknown"}
            variables[name] = ("time", self.columns[name], attributes)
        attributes = {
            "mark": self.mark.name,
            "time_zone": self.mark.time_zone,
            "datum": self.datum,
            "flow_reliable": str(self.flow_reliable).lower(),
        }
        coordinates = {"time": ("time", self.times, {"standard_name": "time", "long_name": "time [UTC]"})}
        return xarray.Dataset(variables, coords=coordinates, attrs=attributes)

    def _ticks(self, times: AnyArray) -> IntArray:
        """Return instants in microseconds, refusing what lies too far outside the span."""
        array = np.asarray(times)
        if array.ndim != 1:
            raise InvalidInput(Fault("times", f"has shape {array.shape}", "a one-dimensional array"))
        if array.dtype == np.int64:
            ticks = array
        elif array.dtype.kind == "M":
            ticks = array.astype("datetime64[us]").view(np.int64)
        elif array.dtype.kind == "f" and not np.isfinite(array).all():
            raise InvalidSpan(Fault("times", "NaN or infinite", "instants"))
        else:
            ticks = np.rint(array).astype(np.int64)
        first, last = self.span.start_us - MARGIN_US, self.span.end_us + MARGIN_US
        least, most = (ticks.min(), ticks.max()) if ticks.size else (first, last)
        if not (least >= first and most <= last):
            low, high, *ends = from_microseconds(np.array([least, most, first, last]))
            raise InvalidSpan(Fault("times", f"from {low} to {high}", f"instants from {ends[0]} to {ends[1]}"))
        return ticks
