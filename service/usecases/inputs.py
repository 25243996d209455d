"""What an answer rests on: things in their versions, known before anything is computed from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from service.usecases.marks import MarkView
from service.usecases.stations import ServedModel


@dataclass(frozen=True, slots=True)
class Input:
    """A thing in one version; ``stamp`` is when anything about it was last written, its name and place too."""

    kind: str
    key: str
    version: int
    stamp: datetime


class Basis(Protocol):
    """All that decides what is computed: the things it rests on, and what is asked of them."""

    @property
    def inputs(self) -> Sequence[Input]:
        """The things, in the order of the answer."""

    @property
    def query(self) -> Mapping[str, Any]:
        """What is asked, as plain values in one spelling."""


def station_input(served: ServedModel) -> Input:
    """Return the input that a station's tide model is."""
    return Input("station", served.station.station_id, served.version, served.station.updated_at)


def mark_input(view: MarkView) -> Input:
    """Return the input that a mark is."""
    return Input("mark", view.record.id, view.record.version, view.record.updated_at)


@dataclass(frozen=True, slots=True)
class ModelBasis:
    """What an answer rests on that asks nothing of a station's tide model but the ``series`` that it is."""

    served: ServedModel
    series: str

    @property
    def inputs(self) -> Sequence[Input]:
        """The station."""
        return [station_input(self.served)]

    @property
    def query(self) -> Mapping[str, Any]:
        """Which series."""
        return {"series": self.series}
