"""Lengths and weights: what was measured, how sure it is, and the weight that a length makes likely."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from tidecore.documents import Document, Name, Number
from tidecore.errors import Fault, InvalidInput
from tidecore.rules import Species

LengthKind = Literal["total", "fork", "wing_width", "carapace"]

#: Longer than this is no fish of the shore [cm].
LONGEST_CM = 600.0
#: Longest known of some species, in any kind of length [cm], by FAO code and scientific name. From memory.
_LONGEST: tuple[tuple[str, str, float], ...] = (
    ("BSS", "Dicentrarchus labrax", 103.0),
    ("COD", "Gadus morhua", 200.0),
    ("WHG", "Merlangius merlangus", 92.0),
    ("PLE", "Pleuronectes platessa", 100.0),
    ("FLE", "Platichthys flesus", 60.0),
    ("DAB", "Limanda limanda", 45.0),
    ("SOL", "Solea solea", 75.0),
    ("SMD", "Mustelus mustelus", 200.0),
    ("SDS", "Mustelus asterias", 150.0),
    ("RJC", "Raja clavata", 140.0),
    ("COE", "Conger conger", 300.0),
    ("MAC", "Scomber scombrus", 70.0),
    ("MLR", "Chelon labrosus", 80.0),
    ("USB", "Labrus bergylta", 70.0),
)
_LONGEST_BY_CODE = {code: longest for code, _, longest in _LONGEST}
_LONGEST_BY_NAME = {name.casefold(): longest for _, name, longest in _LONGEST}
#: How far beyond the longest known a length may lie before it is refused; a choice of ours.
_ROOM = 1.25

#: By how much guesses of the reach run long; common practice.
GUESSES_RUN_LONG = (1.2, 1.3)


class Length(Document):
    """A length [cm], what of the fish it is, and within how much on either side it is right."""

    cm: Annotated[Number, Field(gt=0.0, le=LONGEST_CM)]
    kind: LengthKind
    precision_cm: Annotated[Number, Field(gt=0.0, le=50.0)] = 1.0


class Weight(Document):
    """A weight [g], and whether it was on a balance."""

    grams: Annotated[Number, Field(gt=0.0, le=1_000_000.0)]
    how: Literal["measured", "estimated"]


class LengthWeight(Document):
    """The weight that goes with a length of one kind: W = a L^b, L in cm and W in g, and who found it.

    ``from_cm`` and ``to_cm`` are the lengths it was found from; outside them it is not used.
    """

    species: Species
    a: Annotated[Number, Field(gt=0.0, le=10.0)]
    b: Annotated[Number, Field(ge=1.5, le=4.5)]
    length_kind: LengthKind
    from_cm: Annotated[Number, Field(gt=0.0)] | None = None
    to_cm: Annotated[Number, Field(gt=0.0)] | None = None
    source: Name


@dataclass(frozen=True, slots=True)
class WeightEstimate:
    """A weight worked out of a length [g], always an estimate: NaN, with the reason, where it cannot be."""

    grams: float
    low_grams: float
    high_grams: float
    source: str
    why_unknown: str = ""


def same_species(one: Species, other: Species) -> bool:
    """Return whether two are of one species: by code where both have one, else by scientific name."""
    if one.fao_code is not None and other.fao_code is not None:
        return one.fao_code == other.fao_code
    return one.scientific_name.casefold() == other.scientific_name.casefold()


def longest_cm(species: Species) -> float:
    """Return the length beyond which one of this species, by its name or its code, is not believed [cm]."""
    known = _LONGEST_BY_NAME.get(species.scientific_name.casefold())
    if known is None and species.fao_code is not None:
        known = _LONGEST_BY_CODE.get(species.fao_code)
    return LONGEST_CM if known is None else _ROOM * known


def estimate_weight(length: Length, relation: LengthWeight) -> WeightEstimate:
    """Return the weight by W = a L^b, with bounds from the precision of the length alone.

    Kinds of length that differ are not turned into each other: the weight is unknown then.

    Examples
    --------
    >>> relation = LengthWeight(
    ...     species=Species(scientific_name="Gadus morhua"), a=0.01, b=3.0, length_kind="total", source="invented"
    ... )
    >>> round(estimate_weight(Length(cm=50.0, kind="total"), relation).grams, 3)
    1250.0
    """
    why = ""
    if length.kind != relation.length_kind:
        why = f"the length is {length.kind}, the relation is of {relation.length_kind} length"
    elif relation.from_cm is not None and length.cm < relation.from_cm:
        why = f"{length.cm:g} cm is under the {relation.from_cm:g} cm from which the relation was found"
    elif relation.to_cm is not None and length.cm > relation.to_cm:
        why = f"{length.cm:g} cm is over the {relation.to_cm:g} cm to which the relation was found"
    if why:
        return WeightEstimate(math.nan, math.nan, math.nan, relation.source, why)
    low, high = (relation.a * max(0.0, length.cm + side * length.precision_cm) ** relation.b for side in (-1.0, 1.0))
    return WeightEstimate(relation.a * length.cm**relation.b, low, high, relation.source)


@dataclass(frozen=True, slots=True)
class ReachRemark:
    """A reach as it was given [m], and where it probably lies; ``likely_m`` is the reach itself unless guessed."""

    metres: float
    likely_m: tuple[float, float]
    text: str


def reach_remark(metres: float, known: Literal["guessed", "counted", "paced", "measured"]) -> ReachRemark:
    """Return what is to be said of a reach; the number given is never changed.

    Raises
    ------
    InvalidInput
        If the reach is not a number of metres, 0 or more.
    """
    if not (math.isfinite(metres) and metres >= 0.0):
        raise InvalidInput(Fault("metres", f"is {metres}", "0 m or more"))
    if known != "guessed":
        return ReachRemark(metres, (metres, metres), f"{metres:g} m, {known}")
    less, more = GUESSES_RUN_LONG
    near, far = metres / more, metres / less
    text = f"{metres:g} m, guessed: guesses run 20 to 30 % long (common practice), so perhaps {near:.0f} to {far:.0f} m"
    return ReachRemark(metres, (near, far), text)
