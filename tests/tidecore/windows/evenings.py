"""Timelines, rules and free time that the tests of sessions share; all invented."""

from __future__ import annotations

from functools import cache
from typing import Any

from tests.tidecore.timeline.places import mark_at, model_of
from tests.tidecore.windows.doubles import one_of, rule, trapezoid
from tidecore.calendars import FreeTime
from tidecore.rules import SpeciesRule
from tidecore.timeline import Timeline, build_timeline
from tidecore.windows import MarkSearch, search_mark

#: Two down and two up over low water, with the slack between.
DOWN_AND_UP = rule(
    name="two down, two up",
    require=[
        ("hours_from_lw", trapezoid(-2.0, -1.75, 1.75, 2.0), {}),
        ("flow_strength", trapezoid(0.05, 0.25, None, None), {}),
    ],
)
NIGHT_FLOOD = rule(
    name="flood in the dark",
    species={"scientific_name": "Piscis nocturnus"},
    require=[
        ("hours_from_lw", trapezoid(0.0, 0.5, 3.0, 3.5), {}),
        ("sun_altitude", trapezoid(None, None, 0.0, 8.0), {}),
    ],
)
ALWAYS = rule(name="always", require=[("month", trapezoid(0.0, 1.0, 12.0, 13.0), {})])
NEVER = rule(name="never", require=[("height", trapezoid(90.0, 91.0, None, None), {})])
DAYS_ONLY = rule(name="by day", require=[("light", one_of("day"), {})])

EVENINGS: dict[str, Any] = {
    "weekly": [
        {"weekdays": ["saturday", "sunday"], "hours": {"from": "06:00", "to": "22:00"}},
        {"hours": {"from": "17:00", "to": "23:00"}},
    ]
}


@cache
def timeline_over(
    start: str = "2026-10-20", end: str = "2026-11-03", free: bool = False, zone: str = "Europe/London"
) -> Timeline:
    """The timeline of one mark over some days around the end of summer time."""
    mark = mark_at(time_zone=zone)
    free_time = FreeTime.parse(EVENINGS) if free else None
    return build_timeline(mark, model_of("large"), start, end, free_time=free_time)


def search(*rules: SpeciesRule, key: str = "ledge", **options: Any) -> MarkSearch:
    """What rules find at the mark, each called by its name."""
    return search_mark(key, timeline_over(**options), {one.name: one for one in rules})
