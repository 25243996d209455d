"""One kind of hazard along the instants of a look: its codes, its values, and what is said of each grade."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tidecore.units import AnyArray, FloatArray, IntArray

COMMON = "common practice"


def verbatim(text: str) -> str:
    """Return a text that somebody gave so that it stands in the texts of a line as it is, curly brackets and all."""
    return text.replace("{", "{{").replace("}", "}}")


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A kind of hazard, shape ``(n,)``.

    Parameters
    ----------
    kind : str
        What it is called.
    codes : int8 array
        Places in `tidecore.shore.dangers.GRADES`.
    texts : mapping of int to str
        What is said of each code there is; ``{value}`` is the worst value of the time, ``{since}`` and ``{until}`` its
        ends by the clocks of the mark, as far as the outing goes; ``{over}`` when it is over, be that after the outing.
    source : str
        Where thresholds and values come from.
    values : mapping of int to float64 array
        By code, what was held against the threshold; none where a code has none.
    thresholds : mapping of int to float
        By code.
    unit : str
        Of both.
    least_is_worst : bool
        Whether small values are the bad ones.
    besides : mapping of str to float64 array
        What else the texts name in curly brackets: the largest of the time, in whole units.
    named : mapping of str to (int64 array, tuple of str)
        The same of codes, told by their names.
    """

    kind: str
    codes: AnyArray
    texts: Mapping[int, str]
    source: str = COMMON
    values: Mapping[int, FloatArray] = field(default_factory=dict)
    thresholds: Mapping[int, float] = field(default_factory=dict)
    unit: str = ""
    least_is_worst: bool = False
    besides: Mapping[str, FloatArray] = field(default_factory=dict)
    named: Mapping[str, tuple[IntArray, tuple[str, ...]]] = field(default_factory=dict)
