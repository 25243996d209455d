"""What a short record takes from elsewhere: ratios of a neighbour's tide, or ratios given, and a note of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tidecore.errors import Fault, InvalidInput, UnfitNeighbour
from tidecore.harmonics import Harmonics
from tidecore.harmonics.inference import InferredLine, given_lines, lines_from, lines_of
from tidecore.model.tide import TideModel

#: Lines that a neighbour must have, or nothing says that its tide is like that of the record.
MAIN_LINES = ("M2", "S2", "K1", "O1")
#: Lines of a neighbour that its own fit tells from noise by less are not passed on [signal to noise, by power].
LEAST_SNR = 2.0
#: Form numbers between which the type of tide changes.
_TYPES = ((0.25, "semidiurnal"), (1.5, "mixed, mainly semidiurnal"), (3.0, "mixed, mainly diurnal"))
#: Two tides whose diurnal parts, (K1 + O1) / (K1 + O1 + M2 + S2), differ by less are of one type even where a border
#: lies between their form numbers: a month tells the form number to no better.
_BORDER = 0.15


@dataclass(frozen=True, slots=True)
class Inference:
    """Where a fit takes lines from that its record cannot separate: a ``neighbour``, ``given`` lines, or neither."""

    neighbour: TideModel | None = None
    given: tuple[InferredLine, ...] = ()

    @classmethod
    def parse(cls, neighbour: TideModel | None, infer: Mapping[str, Sequence[object]] | None, nodal: str) -> Inference:
        """Return what was asked for, checked as far as it can be without the record.

        Raises
        ------
        InvalidInput, UnknownName
            For a neighbour and ratios at once, or ratios that make no sense.
        UnfitNeighbour
            Where the neighbour lacks M2, S2, K1 or O1, or its node factors are left in its amplitudes.
        """
        if infer is not None and neighbour is not None:
            raise InvalidInput(Fault("infer", "and neighbour exclude each other", "one of them"))
        if infer is not None:
            return cls(given=given_lines(infer))
        if neighbour is not None:
            there = lines_of(neighbour.harmonics)
            absent = [name for name in MAIN_LINES if there.get(name, (0.0, 0.0))[0] == 0.0]
            if absent:
                problem = f"has no {' and no '.join(absent)}"
                raise UnfitNeighbour(neighbour.station, problem, f"one with {', '.join(MAIN_LINES)}")
            if neighbour.harmonics.nodal == "none" and nodal != "none":
                expected = "one fitted with node factors"
                raise UnfitNeighbour(neighbour.station, "was fitted without node factors", expected)
        return cls(neighbour)

    def possible(self, fitted: Sequence[str]) -> bool:
        """Return whether every given line has its reference among those ``fitted``."""
        return all(line.reference in fitted for line in self.given)

    def lines(self, fitted: Sequence[str], unresolved: Sequence[str]) -> tuple[InferredLine, ...]:
        """Return what is inferred for a fit of ``fitted`` that leaves lines ``unresolved``.

        Raises
        ------
        InvalidInput
            If a given line has a reference that is not fitted.
        """
        if self.neighbour is None:
            loose = [line for line in self.given if line.reference not in fitted]
            if loose:
                expected = f"one of the fitted lines: {', '.join(fitted)}"
                raise InvalidInput(
                    [Fault(f"infer.{one.name}", f"{one.reference} is not fitted", expected) for one in loose]
                )
            return self.given
        diagnostics = self.neighbour.diagnostics
        ratios = {} if diagnostics is None else diagnostics.snr
        sure = [name for name in unresolved if ratios.get(name, LEAST_SNR) >= LEAST_SNR]
        return lines_from(self.neighbour.harmonics, fitted, sure)

    def check(self, found: Harmonics) -> None:
        """Refuse a neighbour whose type of tide is not that which was ``found``.

        Raises
        ------
        UnfitNeighbour
            If the form numbers F are of two types, and the diurnal parts F / (1 + F) differ by more than 0.15.
        """
        if self.neighbour is None:
            return
        here, there = found.form_number, self.neighbour.form_number
        if _type_of(here) != _type_of(there) and not abs(_diurnal_part(here) - _diurnal_part(there)) <= _BORDER:
            problem = f"has a {_type_of(there)} tide (form number {there:.2f})"
            expected = f"a {_type_of(here)} one as the record has (form number {here:.2f})"
            raise UnfitNeighbour(self.neighbour.station, problem, expected)

    def note(self, lines: Sequence[InferredLine]) -> dict[str, Any] | None:
        """Return what was inferred and from where as plain values, None where nothing was asked for."""
        if self.neighbour is None and not self.given:
            return None
        source: dict[str, Any] = {"kind": "given"}
        if self.neighbour is not None:
            source = {
                "kind": "neighbour",
                "station": self.neighbour.station,
                "input_hash": self.neighbour.input_hash,
                "convention": self.neighbour.convention,
                "form_number": self.neighbour.form_number,
                "numerics": self.neighbour.numerics,
                "code_version": self.neighbour.code_version,
            }
        return {"source": source, "lines": [asdict(line) for line in lines]}


def _type_of(form_number: float) -> str:
    """Return the type of a tide by its form number."""
    return next((name for limit, name in _TYPES if form_number < limit), "diurnal")


def _diurnal_part(form_number: float) -> float:
    return 1.0 - 1.0 / (1.0 + form_number)
