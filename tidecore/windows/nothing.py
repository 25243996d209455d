"""Why no outing to a mark came of a search, in sentences."""

from __future__ import annotations

import numpy as np

from tidecore.calendars import clipped, merged
from tidecore.timebase import US_PER_HOUR
from tidecore.units import IntArray
from tidecore.windows.curves import MarkSearch
from tidecore.windows.options import SessionOptions
from tidecore.windows.outings import stays
from tidecore.windows.wording import hours_words


def explain_no_outings(
    search: MarkSearch, options: SessionOptions, free_us: IntArray | None = None, travel_min: float = 0.0
) -> tuple[str, ...]:
    """Return why `find_outings` found none; the arguments are those it was given."""
    name = search.timeline.mark.name
    if not search.curves:
        return (f"{name}: no rule accepts the ground here.",)
    windows = [window for one in search.curves for window in one.windows]
    if not windows:
        return (f"{name}: no rule has a window in the span.",)
    there = stays(search, free_us, travel_min, travel_min)
    said = [f"{name}: {len(windows)} window{'s' if len(windows) > 1 else ''} of the rules in the span."]
    said += search.care.said(search.timeline)
    if not len(there):
        said.append("None of the span is free, with time for the way, open access and no danger.")
        return tuple(said)
    longest = float((there[:, 1] - there[:, 0]).max()) / US_PER_HOUR
    if longest < options.least_h:
        said.append(
            f"The longest stay that free time, the way and access leave is {hours_words(longest)}; a session lasts at "
            f"least {hours_words(options.least_h)}."
        )
        return tuple(said)
    spans = merged(np.concatenate([one.windows_us for one in search.curves]))
    inside = [
        row for row in there.tolist() if len(clipped(spans, row[0] + options.set_up_us, row[1] - options.pack_up_us))
    ]
    if inside:
        said.append(
            f"What of them lies in free time with open access is in stays under {hours_words(options.least_h)}."
        )
    else:
        said.append("None of them lies in free time with open access, after setting up and before packing up.")
    return tuple(said)
