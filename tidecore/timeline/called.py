"""Factors in plain words, for sentences."""

from __future__ import annotations

#: What an angler calls a factor; any other by its name with blanks.
_CALLED = {
    "hours_from_hw": "time from high water",
    "hours_from_lw": "time from low water",
    "flow_index": "run of the tide",
    "flow_strength": "run of the tide",
    "waterline": "edge of the water",
    "run_up": "run-up",
    "fishable": "whether it fishes",
    "range": "size of the tide",
    "range_ratio": "size of the tide",
    "height": "height of the tide",
    "sun_altitude": "height of the sun",
    "moon_altitude": "height of the moon",
    "wave_height": "height of the waves",
    "wind_speed": "wind",
    "wind_onshore": "onshore wind",
    "clarity": "clarity of the water",
    "weed_risk": "weed",
    "access_open": "access",
    "calendar_day": "season",
    "named_phase": "state of the tide",
    "making": "making or taking off of the tides",
    "hours_since_sea_peak": "time since the sea peaked",
    "sea_trend": "trend of the sea",
    "minutes_to_turn_back": "time left to turn back",
}
#: Times from an event are told as such, whatever their unit.
_FROM = "minutes_from_"


def factor_words(name: str) -> str:
    """Return a factor in plain words."""
    called = f"time from {name.removeprefix(_FROM)}" if name.startswith(_FROM) else name
    return _CALLED.get(name, called.replace("_", " "))
