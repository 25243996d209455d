"""One issue of conditions: what one source said, at one time, of the sea and the air."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    Field,
    SerializerFunctionWrapHandler,
    model_serializer,
    model_validator,
)

from tidecore.conditions.moments import Moment, written
from tidecore.conditions.variables import VARIABLE_BY_NAME, VARIABLES, PeriodKind
from tidecore.documents import NO_FIELD, Document, Flaw, Name, Number, fault, refuse
from tidecore.errors import Fault, InvalidInput

#: Most times of one issue.
MOST_TIMES = 10_000


def _column(name: str) -> Any:
    variable = VARIABLE_BY_NAME[name]
    if variable.kind == "category":
        return Field(default=None, max_length=MOST_TIMES, description=variable.meaning)
    return Field(default=None, max_length=MOST_TIMES, description=f"{variable.meaning} [{variable.unit}]")


def _bounds(name: str) -> Any:
    variable = VARIABLE_BY_NAME[name]
    if variable.above_lowest:
        return Field(gt=variable.lowest, le=variable.highest)
    return Field(ge=variable.lowest, le=variable.highest)


class Values(Document):
    """Values by variable, one for each time of the issue; null where there is none."""

    wave_height_m: tuple[Annotated[Number, _bounds("wave_height_m")] | None, ...] | None = _column("wave_height_m")
    wave_period_s: tuple[Annotated[Number, _bounds("wave_period_s")] | None, ...] | None = _column("wave_period_s")
    wave_from_degree: tuple[Annotated[Number, _bounds("wave_from_degree")] | None, ...] | None = _column(
        "wave_from_degree"
    )
    wind_speed_m_per_s: tuple[Annotated[Number, _bounds("wind_speed_m_per_s")] | None, ...] | None = _column(
        "wind_speed_m_per_s"
    )
    wind_from_degree: tuple[Annotated[Number, _bounds("wind_from_degree")] | None, ...] | None = _column(
        "wind_from_degree"
    )
    wind_gust_m_per_s: tuple[Annotated[Number, _bounds("wind_gust_m_per_s")] | None, ...] | None = _column(
        "wind_gust_m_per_s"
    )
    air_temperature_c: tuple[Annotated[Number, _bounds("air_temperature_c")] | None, ...] | None = _column(
        "air_temperature_c"
    )
    sea_temperature_c: tuple[Annotated[Number, _bounds("sea_temperature_c")] | None, ...] | None = _column(
        "sea_temperature_c"
    )
    pressure_hpa: tuple[Annotated[Number, _bounds("pressure_hpa")] | None, ...] | None = _column("pressure_hpa")
    cloud_cover_percent: tuple[Annotated[Number, _bounds("cloud_cover_percent")] | None, ...] | None = _column(
        "cloud_cover_percent"
    )
    rain_mm_per_h: tuple[Annotated[Number, _bounds("rain_mm_per_h")] | None, ...] | None = _column("rain_mm_per_h")
    thunder_probability_percent: tuple[Annotated[Number, _bounds("thunder_probability_percent")] | None, ...] | None = (
        _column("thunder_probability_percent")
    )
    visibility_m: tuple[Annotated[Number, _bounds("visibility_m")] | None, ...] | None = _column("visibility_m")
    clarity: tuple[Literal["clear", "tinge", "coloured", "thick"] | None, ...] | None = _column("clarity")
    weed: tuple[Literal["none", "odd_strand", "every_cast", "unfishable"] | None, ...] | None = _column("weed")

    @model_serializer(mode="wrap")
    def _given(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Leave out what the issue does not give."""
        return {name: column for name, column in handler(self).items() if column is not None}

    def given(self) -> dict[str, tuple[float | str | None, ...]]:
        """Return the columns that there are, by name, in the order of the table of variables."""
        columns = {variable.name: getattr(self, variable.name) for variable in VARIABLES}
        return {name: column for name, column in columns.items() if column is not None}


def _some(times: tuple[Moment, ...]) -> tuple[Moment, ...]:
    if not times:
        raise fault("is empty", "at least one instant")
    return times


def _ascending(times: tuple[Moment, ...]) -> Iterator[Flaw]:
    for place, (earlier, later) in enumerate(pairwise(times)):
        if later <= earlier:
            problem = f"is {written(later)}, not after {written(earlier)}"
            yield Flaw(("times", place + 1), problem, "every instant once, in ascending order")
            return


class ConditionIssue(Document):
    """A forecast or an observation of sea and air at a place.

    ``valid_until`` of a forecast is the last instant at which it may be used, its last time unless given. Waves need
    ``waves_at``, which says whether they are those of open water or of the mark itself, and a period needs
    ``wave_period_kind``, which says what period it is.
    """

    kind: Literal["forecast", "observation"]
    source: Name
    issued_at: Moment
    valid_until: Moment | None = None
    waves_at: Literal["offshore", "at_mark"] | None = None
    wave_period_kind: PeriodKind | None = None
    times: Annotated[tuple[Moment, ...], Field(max_length=MOST_TIMES), AfterValidator(_some)]
    values: Values

    @classmethod
    def parse(cls, document: object) -> Self:
        """Return the issue checked; raises `InvalidInput` with every fault there is, at most 100 listed."""
        try:
            return super().parse(document)
        except InvalidInput as refused:
            raise InvalidInput([_named(found) for found in refused.faults]) from refused

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        refuse(self, list(self._between()))
        return self

    def _between(self) -> Iterator[Flaw]:
        """Yield what is wrong between the fields."""
        columns = self.values.given()
        yield from _ascending(self.times)
        if not columns:
            yield Flaw(("values",), "holds no variable", f"some of {', '.join(VARIABLE_BY_NAME)}")
        for name, column in columns.items():
            if len(column) != len(self.times):
                problem = f"has {len(column)} values for {len(self.times)} times"
                yield Flaw(("values", name), problem, "one value, or null, for each time")
            elif all(value is None for value in column):
                yield Flaw(("values", name), "holds no value", "at least one, or no such field")
        if self.waves_at is None and any(name.startswith("wave_") for name in columns):
            yield Flaw(("waves_at",), "is missing", "'offshore' or 'at_mark': where the waves are")
        if self.wave_period_kind is None and "wave_period_s" in columns:
            expected = "'peak' (Tp), 'energy' (Tm-1,0) or 'zero_crossing' (Tz): what period wave_period_s is"
            yield Flaw(("wave_period_kind",), "is missing", expected)
        yield from self._timely()

    def _timely(self) -> Iterator[Flaw]:
        """Yield what is wrong with the times of issue and validity."""
        first, last = self.times[0], self.times[-1]
        if self.kind == "forecast" and last < self.issued_at:
            problem = f"end at {written(last)}, before the issue at {written(self.issued_at)}"
            yield Flaw(("times",), problem, "a forecast that reaches beyond its issue, or kind 'observation'")
        if self.kind == "observation" and last > self.issued_at:
            problem = f"end at {written(last)}, after the issue at {written(self.issued_at)}"
            yield Flaw(("times",), problem, "what was observed before it was issued, or kind 'forecast'")
        if self.valid_until is not None and self.valid_until < max(first, self.issued_at):
            problem = f"is {written(self.valid_until)}, before the issue or its first time"
            yield Flaw(("valid_until",), problem, "an instant after both")


def _named(found: Fault) -> Fault:
    """Return a fault, that of an unknown variable in better words."""
    if found.field.startswith("values.") and found.problem == NO_FIELD:
        return Fault(found.field, "is no variable that is known, or not in its unit", found.expected)
    return found
