"""What is drawn of a mark: from the view of a use case to a picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.api.v1.schemas.sessions import CAUTION
from service.exports.mark_chart import (
    THEMES,
    ChartHazard,
    ChartSession,
    ChartWindow,
    MarkChart,
    draw_day,
    draw_strips,
)
from service.exports.mark_chart.look import ThemeName
from service.exports.series import Export
from service.usecases.mark_charts import ChartKind, ChartView
from service.usecases.marks import MarkView
from service.usecases.species_rules import RuleView
from service.usecases.stations import ServedModel
from tidecore.safety import Grade, loosened_words
from tidecore.timeline import Timeline
from tidecore.windows import MarkSearch, Session

_ORDER: tuple[Grade, ...] = ("danger", "caution", "not_assessed", "info")


def draw_chart(view: ChartView, theme: ThemeName) -> Export:
    """Return the picture of a chart."""
    chart = _chart(view)
    return draw_day(chart, THEMES[theme]) if view.basis.kind == "day" else draw_strips(chart, THEMES[theme])


def _chart(view: ChartView) -> MarkChart:
    basis, line = view.basis, view.timeline
    mark = basis.mark
    species = {rule.record.id: species_word(rule) for rule in view.result.rules}
    search = view.result.searches[mark.record.id]
    return MarkChart(
        file_name=f"{mark.record.id}_{basis.kind}_{basis.date.isoformat()}",
        mark=mark.document.name,
        kind=basis.kind,
        zone=mark.document.zone,
        datum=line.datum,
        span=basis.span,
        times_us=line.times.astype(np.int64),
        heights=line.columns["height"],
        flow=line.columns["flow_index"],
        light=line.columns["light"],
        events=line.events(basis.span.start, basis.span.end),
        windows=_windows(search, species) if basis.kind == "day" else (),
        sessions=[_session(place, one, species) for place, one in enumerate(view.sessions, start=1)],
        hazards=gather_hazards(
            basis.kind,
            [
                (place, [Danger(h.grade, h.kind, _us(h.start), _us(h.end), h.text) for h in one.hazards.hazards])
                for place, one in enumerate(view.sessions, start=1)
            ],
        ),
        facts=tide_facts(line, basis.kind, _counted(len(view.sessions))),
        notes=_notes(view),
    )


def species_word(rule: RuleView) -> str:
    """Return what an angler calls the fish of a rule."""
    species = rule.document.species
    return species.local_name or rule.document.name


def _windows(search: MarkSearch, species: dict[str, str]) -> list[ChartWindow]:
    found = [
        ChartWindow(
            species[curve.key],
            _us(one.start),
            _us(one.end),
            (_us(one.best_hour.start), _us(one.best_hour.end)),
            one.mean_score,
        )
        for curve in search.curves
        for one in curve.windows
    ]
    best = {one.species: 0.0 for one in found}
    for one in found:
        best[one.species] = max(best[one.species], one.mean_score * (one.end_us - one.start_us))
    return sorted(found, key=lambda one: (-best[one.species], one.species, one.start_us))


def _session(place: int, one: Session, species: dict[str, str]) -> ChartSession:
    (leg,) = one.legs
    hours = {rule.rule: rule.score_hours for rule in leg.rules}
    told = dict.fromkeys(species[key] for key in sorted(hours, key=lambda key: (-hours[key], key)))
    return ChartSession(
        rank=place,
        arrive_us=_us(leg.arrive),
        start_us=_us(leg.start),
        end_us=_us(leg.end),
        leave_us=_us(leg.leave),
        worth_h=one.score_hours,
        species=tuple(told),
        grade=one.hazards.grade,
        best_us=(_us(one.best_hour.start), _us(one.best_hour.end)),
    )


@dataclass(frozen=True, slots=True)
class Danger:
    """A hazard of a session: its grade, kind, span [microseconds since 1970], and a sentence."""

    grade: Grade
    kind: str
    start_us: int
    end_us: int
    text: str


def gather_hazards(kind: ChartKind, sessions: Sequence[tuple[int, Sequence[Danger]]]) -> list[ChartHazard]:
    """Return each kind of hazard once in each grade, as the best session has it, and the other sessions that do.

    ``sessions`` are what each is numbered by, and its hazards, the best first. Of a day each says by itself when to
    turn back.
    """
    found: dict[tuple[str, str, str], tuple[Danger, list[int]]] = {}
    alike: dict[tuple[str, str, str], bool] = {}

    def key_of(one: Danger) -> tuple[str, str, str]:
        return one.grade, one.kind, one.text if kind == "day" and one.kind == "cut_off" else ""

    for number, dangers in sessions:
        for one in dangers:
            key = key_of(one)
            first, numbers = found.setdefault(key, (one, []))
            alike[key] = alike.get(key, True) and one.text == first.text
            if number not in numbers:
                numbers.append(number)
    place = {number: place for place, (number, _) in enumerate(sessions)}

    def order(pair: tuple[Danger, list[int]]) -> tuple[int, bool, int, int]:
        one, numbers = pair
        own = bool(key_of(one)[2])
        # Before what is not assessed, for lack of room leaves out the last.
        grave = min(_ORDER.index(one.grade), _ORDER.index("not_assessed")) if own else _ORDER.index(one.grade)
        return grave, not own, place[numbers[0]], one.start_us

    told = sorted(found.values(), key=order)
    return [
        ChartHazard(
            one.grade,
            one.start_us,
            one.end_us,
            f"{one.text} {_which(numbers, len(sessions), alike[key_of(one)])}".strip(),
        )
        for one, numbers in told
    ]


def _which(places: Sequence[int], of: int, alike: bool) -> str:
    """Return at which sessions a hazard is, of so many; unless it is ``alike`` there its words are of the first."""
    if of == 1:
        return ""
    if len(places) == of and alike:
        return "(every session)"
    if len(places) == 1:
        return f"(session {places[0]})"
    others = "every other" if len(places) == of else ", ".join(map(str, places[1:]))
    return f"(session {places[0]}; the like at {others})"


_MAKING = {"making": "tides making", "taking_off": "tides taking off"}


def tide_facts(line: Timeline, kind: ChartKind, sessions: str) -> list[str]:
    """Return what the tide is like over the days drawn, the range and its phase; and what is said of the sessions."""
    if kind == "day":
        # As sheets and weeks have it of the day: its highest water over its lowest.
        heights = [one.height for one in line.events() if one.height is not None]
        said = [f"range {max(heights) - min(heights):.1f} m"] if len(heights) > 1 else []
        making = line.columns["making"]
        said += [_MAKING[one] for one in (str(making[making.size // 2]),) if one in _MAKING]
        return [*said, sessions]
    ranges = line.columns["range"]
    known = ranges[np.isfinite(ranges)]
    said = [f"ranges {known.min():.1f} to {known.max():.1f} m"] if known.size else []
    return [*said, sessions]


def _counted(found: int) -> str:
    return f"{found} session{'' if found == 1 else 's'} shown, the best numbered 1" if found else "no session"


def how_to_read(kind: ChartKind) -> str:
    """Return what the signs of a drawing mean."""
    read = (
        "Signs: !! danger, ! caution, ? not assessed. Sessions are numbered by worth; the thick line is the best hour."
    )
    if kind == "day":
        read += " Windows show their mean score, dashes the time of arriving, setting up and packing up."
    return read


def loosened_note(names: Sequence[str]) -> list[str]:
    """Return the thresholds of safety that an account has loosened as one note, none where there are none."""
    return [loosened_words(names)] if names else []


def rests_on(mark: MarkView, served: ServedModel) -> str:
    """Return the versions that a drawing rests on."""
    return f"Mark version {mark.record.version}, tide of {served.station.name} version {served.version}."


def _notes(view: ChartView) -> list[str]:
    reasons = [f"No session: {reason}" for one in view.result.without for reason in one.reasons]
    rests = rests_on(view.basis.mark, view.result.marks[0][1])
    loosened = loosened_note(view.basis.sessions.thresholds.thresholds.loosened)
    return [*loosened, *reasons, f"{how_to_read(view.basis.kind)} {rests}", CAUTION]


def _us(time: np.datetime64) -> int:
    return int(time.astype("datetime64[us]").astype(np.int64))
