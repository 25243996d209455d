"""The factors that the log is joined to, and the bins in which they are counted unless somebody asks for others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

#: Raised whenever a factor or an edge below changes: counts that are kept rest on them.
BINS_VERSION = 1


@dataclass(frozen=True, slots=True)
class DefaultBins:
    """The edges of a factor's bins (none: a bin for each category), and why these.

    ``level`` says whether a mean of it tells something: hours from high water jump, directions come round.
    """

    edges: tuple[float, ...]
    reason: str
    level: bool = True


_HOURS = tuple(float(hour) for hour in range(-5, 6))
_KINDS = "its categories"

#: Bins by factor; the edges are conventions.
DEFAULT_BINS: Mapping[str, DefaultBins] = MappingProxyType(
    {
        "flow_strength": DefaultBins((0.25, 0.5, 0.75, 1.0), "quarters of the mean spring peak"),
        "direction": DefaultBins((), _KINDS),
        "hours_from_hw": DefaultBins(_HOURS, "the hours that anglers count by", level=False),
        "hours_from_lw": DefaultBins(_HOURS, "the hours that anglers count by", level=False),
        "named_phase": DefaultBins((), _KINDS),
        "range_ratio": DefaultBins((0.4, 0.6, 0.8, 1.0, 1.2), "fifths of the mean spring range: neaps to big springs"),
        "days_from_springs": DefaultBins((-5.0, -3.0, -1.0, 1.0, 3.0, 5.0), "two days of the fortnight", level=False),
        "making": DefaultBins((), _KINDS),
        "light": DefaultBins((), _KINDS),
        "illuminated_fraction": DefaultBins((0.25, 0.5, 0.75), "quarters of the moon's face"),
        "month": DefaultBins(tuple(float(month) for month in range(2, 13)), "the months", level=False),
        "wave_height": DefaultBins((0.5, 1.0, 1.5, 2.0), "half metres, to what few fish in"),
        "wave_peak_period": DefaultBins((6.0, 9.0, 12.0), "wind sea, mixed, swell, long swell"),
        "wind_speed": DefaultBins((4.0, 8.0, 12.0), "light, fresh, strong, gale"),
        "wind_onshore": DefaultBins((-5.0, 0.0, 5.0, 10.0), "off and on the shore, by strength"),
        "sea_temperature": DefaultBins((6.0, 9.0, 12.0, 15.0, 18.0), "steps of 3 degrees"),
        "hours_since_sea_peak": DefaultBins((12.0, 24.0, 48.0, 72.0), "half days, then days after a blow"),
        "sea_trend": DefaultBins((), _KINDS),
        "clarity": DefaultBins((), _KINDS),
        "weed_risk": DefaultBins((), _KINDS),
    }
)

#: Told of every deployment, bite and catch without being counted in bins: levels differ from station to station.
VALUES_ALONE = ("height",)
