"""Up to which stream the lead of a method holds the bottom; common practice, and what drag makes of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tidecore.rules.method import Method

#: A grip lead of so many grams holds up to the first speed [m/s] at a reach [m] on a line [mm], and little over the
#: second; over the third little of anything holds. Common practice.
GRIP_G, AT_REACH_M, ON_LINE_MM = 150.0, 90.0, 0.35
HOLDS_M_PER_S, LITTLE_HOLDS_M_PER_S, NOTHING_HOLDS_M_PER_S = 1.0, 1.3, 1.5


@dataclass(frozen=True, slots=True)
class LeadHold:
    """A lead holds up to ``to_m_per_s``, and hardly or not over ``hardly_m_per_s``; ``basis`` says by what.

    Without wires a lead holds less than that, nobody says how much: ``grips`` is false then.
    """

    grips: bool
    to_m_per_s: float
    hardly_m_per_s: float
    basis: str


def lead_hold(method: Method) -> LeadHold | None:
    """Return up to which stream the lead of a method holds; None where no lead is said.

    Notes
    -----
    Drag grows with the thickness of the line, its length and the square of the stream, and the grip with the weight:
    the common figure is scaled by that, and never over what little holds in. A thickness that is not said is 0.35 mm.

    Examples
    --------
    >>> hook = {"pattern": "aberdeen", "size": "2/0"}
    >>> far = {"band": "far", "from_m": 80, "to_m": 100}
    >>> plain = {"name": "a", "rig": "pulley", "hooks": [hook], "baits": [{"name": "lug", "kind": "worm"}]}
    >>> found = lead_hold(Method.parse(plain | {"reach": far, "lead": {"grams": 150, "type": "grip"}}))
    >>> found.to_m_per_s, found.hardly_m_per_s
    (1.0, 1.3)
    """
    lead, line = method.lead, method.main_line
    if lead is None:
        return None
    thick = ON_LINE_MM if line is None or line.diameter_mm is None else line.diameter_mm
    reach = method.reach.middle_m
    ratio = math.sqrt(lead.grams / GRIP_G * ON_LINE_MM / thick * AT_REACH_M / reach)
    to = min(HOLDS_M_PER_S * ratio, LITTLE_HOLDS_M_PER_S)
    hardly = min(LITTLE_HOLDS_M_PER_S * ratio, NOTHING_HOLDS_M_PER_S)
    basis = f"a {lead.type} lead of {lead.grams:g} g at {reach:g} m on {thick:g} mm"
    return LeadHold(lead.type == "grip", to, hardly, basis)
