"""A month sheet as HTML that needs nothing else: no script, no font, no picture from elsewhere."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

import numpy as np

from service.exports.mark_chart.look import grade_badge, metres, safe
from service.exports.month_sheet.sheet import MOST_HAZARDS, MOST_OF_A_DAY, MonthSheet, SheetSession
from service.exports.month_sheet.strip import draw_strip
from service.exports.month_sheet.style import STYLE
from service.exports.series import Export
from tidecore.calendars import changes_between
from tidecore.safety import Grade
from tidecore.timeline import KeyTime

MEDIA_TYPE = "text/html"
_PHASES = {
    "new_moon": "new moon",
    "first_quarter": "first quarter",
    "full_moon": "full moon",
    "last_quarter": "last quarter",
}
#: What is said of the worst that is known against a session; nothing is ever called safe.
_SAID: dict[Grade, str] = {
    "danger": "danger",
    "caution": "caution",
    "not_assessed": "not all assessed",
    "info": "no danger named",
}
#: Most days with two sessions that a page holds in print of full size.
_AIRY = 5
#: Longest words of two clocks; with offsets they are longer, and take two lines so that the verdict keeps its room.
_TWO_CLOCKS = 12
_DASH, _DOT = "\N{EN DASH}", " \N{MIDDLE DOT} "


def write_sheet(sheet: MonthSheet) -> Export:
    """Return a month sheet as a page of HTML."""
    chart = sheet.chart
    days = chart.days()
    month = f"{days[0][0]:%B %Y}"
    parts = [
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{safe(chart.mark)}, {month}</title><style>{STYLE}</style></head>",
        f'<body class="{"dense" if _crowded(sheet, days) else "airy"}">',
        *_head(sheet, month),
        "<main>",
        *_best(sheet),
        *_hazards(sheet),
        *_days(sheet, days),
        "</main><footer>",
        *(f"<p>{safe(note)}</p>" for note in chart.notes[:-1]),
        f'<p class="caution">{safe(chart.notes[-1])}</p>',
        "</footer></body></html>\n",
    ]
    return Export("\n".join(parts).encode(), MEDIA_TYPE, f"{chart.file_name}.html")


def _crowded(sheet: MonthSheet, days: Sequence[tuple[datetime.date, int, int]]) -> bool:
    """Return whether so many days have two lines that a page of A4 takes smaller print."""
    return sum(len(sheet.of_day(start, end)) > 1 for _, start, end in days) > _AIRY


def _head(sheet: MonthSheet, month: str) -> Iterator[str]:
    chart = sheet.chart
    above = "datum unknown" if chart.datum == "unknown" else f"above {chart.datum}"
    yield f'<header><div><h1>{safe(chart.mark)}</h1><p class="month">{month}</p></div>'
    yield f'<div class="right"><p>{safe(_DOT.join(chart.facts))}</p>'
    yield f'<p class="quiet">heights in metres {safe(above)}; clock times: {safe(chart.clocks)}</p></div></header>'


def _sign(grade: Grade) -> str:
    """Return the sign of a grade, whose form differs with it; the word stands beside it."""
    return (
        '<svg class="sign" viewBox="0 0 24 24" aria-hidden="true" focusable="false">'
        f"{grade_badge(grade, 12.0, 12.0)}</svg>"
    )


def _best(sheet: MonthSheet) -> Iterator[str]:
    if not sheet.told:
        yield "<h2>Sessions</h2><p>No session this month.</p>"
        return
    clock = sheet.chart.clock
    yield "<h2>Best sessions</h2>"
    yield '<table class="best"><caption>The best sessions of the month, the best first</caption><thead><tr>'
    # Where no way takes any time, home is not spoken of.
    travels = any(
        (one.leave_home_us, one.back_home_us) != (one.drawn.arrive_us, one.drawn.leave_us) for one in sheet.told
    )
    out, back = ("leave home, arrive", "leave, home") if travels else ("arrive", "leave")
    # Turning back begins with packing up: "turn back" before "leave" would read like a contradiction.
    names = ("day", "fish for", out, "fishing", "best hour", back, "pack up by", "verdict")
    yield "".join(f'<th scope="col">{name}</th>' for name in ("no.", *names)) + "</tr></thead><tbody>"
    for one in sheet.told:
        drawn = one.drawn
        day = sheet.chart.local(drawn.arrive_us)
        yield f'<tr><th scope="row" class="rank">{drawn.rank}</th><td class="when">{day:%a %-d}</td>'
        for name, said, of in (
            (names[1], ", ".join(drawn.species[:3]), "fish"),
            (names[2], _clocks(sheet, one.leave_home_us, drawn.arrive_us), "out"),
            (names[3], f"{clock(drawn.start_us)}{_DASH}{clock(drawn.end_us)}", "out"),
            (names[4], f"{clock(drawn.best_us[0])}{_DASH}{clock(drawn.best_us[1])}", "out"),
            (names[5], _clocks(sheet, drawn.leave_us, one.back_home_us), "out"),
            (names[6], _due(sheet, one), "wide due"),
        ):
            of += " long" if of == "out" and len(said) > _TWO_CLOCKS else ""
            yield f'<td class="{of}" data-is="{name}">{safe(said)}</td>'
        yield f'<td class="wide" data-is="verdict">{_verdicts(one)}</td></tr>'
    yield "</tbody></table>"


def _clocks(sheet: MonthSheet, *times_us: int) -> str:
    """Return what clocks show at two ends of a way; once where it takes no time."""
    return ", ".join(map(sheet.chart.clock, dict.fromkeys(times_us)))


def _due(sheet: MonthSheet, one: SheetSession) -> str:
    """Return when turning back is due, which begins with packing up."""
    if one.turn_back_us is None:
        return "no time is told"
    if one.turn_back_us <= one.drawn.arrive_us:
        return "due before arriving"
    return sheet.chart.clock(one.turn_back_us)


def _verdicts(one: SheetSession) -> str:
    return f"{_sign(one.drawn.grade)} {_SAID[one.drawn.grade]}; {safe(one.fishable)}; {safe(one.feeding)}"


def _hazards(sheet: MonthSheet) -> Iterator[str]:
    if not sheet.hazards:
        return
    yield f'<h2>Hazards of these {len(sheet.told)} sessions</h2><ul class="hazards">'
    # However many there are, every danger is told; they come first.
    most = max(MOST_HAZARDS, sum(one.grade == "danger" for one in sheet.hazards))
    for one in sheet.hazards[:most]:
        grave = f"{one.grade.capitalize()}: " if one.grade in ("danger", "caution") else ""
        yield f"<li>{_sign(one.grade)}{grave}{safe(one.text)}</li>"
    more = len(sheet.hazards) - most
    if more > 0:
        yield f"<li>{_sign('info')}and {more} more, in the account of each session.</li>"
    yield "</ul>"


def _days(sheet: MonthSheet, days: Sequence[tuple[datetime.date, int, int]]) -> Iterator[str]:
    chart = sheet.chart
    low, high = float(np.nanmin(chart.heights)), float(np.nanmax(chart.heights))
    yield "<h2>Days</h2>"
    yield '<table class="days"><caption>Every day: tide, sun, moon and sessions</caption><thead><tr>'
    hours = "".join(f"<span>{hour:02d}</span>" for hour in (0, 6, 12, 18, 24))
    names = ("day", f'<span class="hours">{hours}</span>', "HW", "LW", "range", "sun", "moon", "sessions")
    yield "".join(f'<th scope="col">{name}</th>' for name in names) + "</tr></thead><tbody>"
    for date, start, end in days:
        of = ' class="weekend"' if date.weekday() >= 5 else ""
        yield f'<tr{of}><th scope="row" class="day">{date:%a %-d}{_cycle(sheet, date, start, end)}'
        yield f"{_clock_changes(sheet, start, end)}</th>"
        yield f'<td class="pic">{draw_strip(chart, start, end, low, high)}</td>'
        waters = sheet.events(start, end, "high_water", "low_water")
        for kind, name in (("high_water", names[2]), ("low_water", names[3])):
            yield _several("waters", name, [_water(sheet, one) for one in waters if one.kind == kind])
        heights = [one.height for one in waters if one.height is not None]
        spread = f"{metres(max(heights) - min(heights))}" if len(heights) > 1 else ""
        yield f'<td class="range" data-is="range">{spread}</td>'
        yield _several("sun", "sun", _risings(sheet, start, end, "sunrise", "sunset"))
        yield _several("sun", "moon", _risings(sheet, start, end, "moonrise", "moonset"))
        yield f'<td class="sessions">{_sessions(sheet, start, end)}</td></tr>'
    yield "</tbody></table>"


def _cycle(sheet: MonthSheet, date: datetime.date, start: int, end: int) -> str:
    """Return the phase of the moon of a day as a disc with its name, and springs or neaps."""
    said = [_PHASES[one.kind] for one in sheet.events(start, end, *_PHASES)]
    disc = _moon(said[0]) if said else ""
    if date in sheet.cycle:
        said.append(sheet.cycle[date])
    return f'<span class="cycle">{disc}{", ".join(said)}</span>' if said else ""


def _clock_changes(sheet: MonthSheet, start: int, end: int) -> str:
    """Return how the clocks change on a day, as remarks: times skip, or come twice, between one water and the next."""
    said = []
    for one in changes_between(sheet.chart.zone, start, end):
        minutes = abs(one.minutes)
        by = f"{minutes / 60.0:g} h" if minutes % 60.0 == 0.0 else f"{minutes:g} min"
        way = "forward" if one.minutes > 0 else "back"
        said.append(f'<span class="cycle clocks">clocks {way} {by} at {str(one.shown_before)[11:16]}</span>')
    return "".join(said)


def _moon(phase: str) -> str:
    """Return a disc: filled for new moon, open for full, the dark half filled for a quarter, as the north sees it."""
    half = {"first quarter": 0, "last quarter": 1}.get(phase)
    inside = f'<path class="info" d="M8 3A5 5 0 0 {half} 8 13Z"/>' if half is not None else ""
    disc = "info" if phase == "new moon" else "ring"
    ring = f'<circle class="{disc}" cx="8" cy="8" r="5"/>'
    return f'<svg class="sign" viewBox="0 0 16 16" aria-hidden="true" focusable="false">{ring}{inside}</svg> '


def _several(of: str, name: str, said: Sequence[str]) -> str:
    inside = "".join(f"<span>{one}</span>" for one in said)
    return f'<td class="{of}" data-is="{name}">{inside}</td>'


def _water(sheet: MonthSheet, one: KeyTime) -> str:
    return f"{sheet.chart.clock(int(one.time.astype(np.int64)))} {metres(one.height or 0.0)}"


def _risings(sheet: MonthSheet, start: int, end: int, rises: str, sets: str) -> list[str]:
    """Return when something rises and sets on a day, with an arrow and in time order."""
    arrows = {rises: "\N{UPWARDS ARROW}", sets: "\N{DOWNWARDS ARROW}"}
    return [
        f"{arrows[one.kind]}{sheet.chart.clock(int(one.time.astype(np.int64)))}"
        for one in sheet.events(start, end, rises, sets)
    ]


def _sessions(sheet: MonthSheet, start: int, end: int) -> str:
    clock, mine = sheet.chart.clock, sheet.of_day(start, end)
    told = [
        f'<b class="rank">{one.drawn.rank}</b> {clock(one.drawn.start_us)}{_DASH}{clock(one.drawn.end_us)} '
        f'{safe(one.drawn.species[0])} {_sign(one.drawn.grade)}<span class="unseen">{_SAID[one.drawn.grade]}</span>'
        for one in mine[:MOST_OF_A_DAY]
    ]
    if len(mine) > MOST_OF_A_DAY:
        told[-1] += f" +{len(mine) - MOST_OF_A_DAY} more"
    return "".join(f"<span>{one}</span>" for one in told)
