"""The search that a planner asks: many marks, many rules, two weeks; what a mark and a rule cost as they grow.

In process, and as an app does it: sun and moon once for the search, tides and conditions once for the marks of a
station, one timeline a mark, all marks and rules in one call.

Cold in every search: models are opened anew and forecasts read anew, so that tables of tides, conditions, timelines and
the tracks of factors are made anew; every search starts at an instant of its own, so that nothing that is kept of a
span can serve it. Warm: what the process keeps of the sky over the weeks in question, whatever spans it was asked for:
positions of sun and moon, phases, and risings, settings and twilights at each place (`tidecore.sky`). A search at all
places beforehand, of a span three days off, has seen to it.
"""

from __future__ import annotations

import gc
import json
import time
from collections.abc import Callable, Sequence
from functools import partial
from itertools import cycle, islice
from pathlib import Path
from statistics import median

import numpy as np

import tidecore
from tests.benchmarks.measure import Prepared, Report, kernel
from tidecore.conditions import ConditionIssue, Conditions
from tidecore.sky import sky_positions
from tidecore.windows import find_windows_at_marks

_REPETITIONS = 5
_MARKS, _RULES, _DAYS = 50, 12, 14
#: The small search: so many marks, and so many rules at a time until all have had their turn.
_FEW_MARKS, _FEW_RULES = 5, 2
_MARKS_A_STATION = 5
#: From the start of one search to that of the next, and from that of a search of other weeks to the first of them.
_STEP, _APART = np.timedelta64(7 * 60 + 3, "m"), np.timedelta64(3, "D")
#: Timelines look for sun and moon so far beyond their span [days].
_SKY_REACH = np.timedelta64(4, "D")
_STARTERS = Path(__file__).resolve().parents[2] / "demo_stations" / "rules"
_BEDS = ("clean_sand", "shingle", "mud", "rough_rock_and_kelp", "structure", "broken_or_mixed", "shingle_to_sand")


def rules() -> list[tidecore.SpeciesRule]:
    """Return so many starter rules, in the order of their names; over again where there are fewer."""
    documents = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(_STARTERS.glob("*.json"))]
    # All grounds are accepted: a rule that never looks at a mark would cost nothing.
    made = [tidecore.SpeciesRule.parse({**document, "beds": []}) for document in documents]
    return list(islice(cycle(made), _RULES))


def marks() -> list[tidecore.Mark]:
    """Return the invented marks; each lies where no other does, and knows when its stream turns."""
    return [
        tidecore.Mark.parse(
            {
                "name": f"Invented mark {k}",
                "latitude": 47.0 + 0.02 * k,
                "longitude": -18.0 - 0.01 * k,
                "time_zone": "WET",
                "station": f"station {k // _MARKS_A_STATION}",
                "kind": "open_beach",
                "beds": [_BEDS[k % len(_BEDS)]],
                "facing_degree": 260,
                "exposure": {"from_degree": 180, "to_degree": 330},
                "slack_lags": {"after_hw_min": 10 + k, "after_lw_min": 20 + k},
            }
        )
        for k in range(_MARKS)
    ]


def _model(station: int) -> tidecore.TideModel:
    """Return the model of a station, made anew: nothing of it has been worked out."""
    lines = {
        "M2": (1.5 + 0.05 * station, 140.0 + station),
        "S2": (0.5, 180.0 + station),
        "N2": (0.3, 120.0),
        "K1": (0.08, 100.0),
        "O1": (0.07, 330.0),
        "M4": (0.08, 20.0),
        "SA": (0.06, 220.0),
    }
    return tidecore.TideModel.from_constituents(lines, latitude=47.5, mean_level=3.0, convention="utide")


def models(count: int) -> list[tidecore.TideModel]:
    """Return fresh models of the stations that so many marks follow."""
    return [_model(station) for station in range(-(-count // _MARKS_A_STATION))]


def conditions(station: int, start: np.datetime64) -> Conditions:
    """Return what is known of the sea off a station: observed for 18 days before, forecast for the search."""
    first = start.astype("datetime64[h]")
    issues = []
    for kind, hours in (("observation", (-18 * 24, 1)), ("forecast", (0, (_DAYS + 1) * 24))):
        passed = np.arange(*hours, 3)
        phase = passed / 40.0 + station
        values = {
            "wave_height_m": 1.2 + np.sin(phase),
            "wave_period_s": 8.0 + 2.0 * np.sin(phase - 0.3),
            "wave_from_degree": 250.0 + 30.0 * np.sin(phase / 2.0),
            "wind_speed_m_per_s": 7.0 + 5.0 * np.sin(phase + 0.4),
            "wind_from_degree": 240.0 + 60.0 * np.sin(phase / 3.0),
            "air_temperature_c": 11.0 + 4.0 * np.sin(passed / 3.82),
            "sea_temperature_c": 12.0 + 0.01 * passed,
            "pressure_hpa": 1012.0 + 12.0 * np.cos(phase),
            "rain_mm_per_h": np.maximum(0.0, np.sin(phase * 1.7) - 0.7),
        }
        document = {
            "kind": kind,
            "source": "invented",
            "issued_at": f"{first}:00:00Z",
            "waves_at": "at_mark",
            "wave_period_kind": "peak",
            "times": [f"{first + int(hour)}:00:00Z" for hour in passed],
            "values": {name: column.round(2).tolist() for name, column in values.items()},
        }
        issues.append(ConditionIssue.parse(document))
    return Conditions.of(issues)


def search(
    at: Sequence[tidecore.Mark],
    tides: Sequence[tidecore.TideModel],
    seas: Sequence[Conditions],
    wanted: Sequence[tidecore.SpeciesRule],
    start: np.datetime64,
) -> int:
    """Search, and return how many windows there are."""
    end = start + np.timedelta64(_DAYS, "D")
    sky = sky_positions(start - _SKY_REACH, end + _SKY_REACH)
    names = tuple(dict.fromkeys(name for rule in wanted for name in rule.factor_names))
    lines = []
    for k, mark in enumerate(at):
        tide, sea = tides[k // _MARKS_A_STATION], seas[k // _MARKS_A_STATION]
        lines.append(tidecore.build_timeline(mark, tide, start, end, sky=sky, names=names, conditions=sea))
    return sum(len(windows) for each in find_windows_at_marks(wanted, lines) for windows in each)


def seas(count: int, start: np.datetime64) -> list[Conditions]:
    """Return what is known of the sea, anew, for the stations that so many marks follow."""
    return [conditions(station, start) for station in range(-(-count // _MARKS_A_STATION))]


def _start(repetition: int) -> np.datetime64:
    """Return the start of a span: another season each time, so that every rule has its months."""
    return np.datetime64("2026-03-01T00:00") + np.timedelta64(71 * 24 * 60 + 13, "m") * repetition


def _prepared(
    at: Sequence[tidecore.Mark], wanted: Sequence[tidecore.SpeciesRule], start: np.datetime64
) -> Callable[[], int]:
    """Return a search with models and seas of its own."""
    return partial(search, at, models(len(at)), seas(len(at), start), wanted, start)


def _seconds(run: Prepared) -> float:
    """Return how long the processor takes for one call [s]: a search is one thread, and others may run beside it."""
    begun = time.process_time()
    run()
    return time.process_time() - begun


def _count(asked: Callable[[], int], counted: list[int]) -> None:
    counted.append(asked())


def run(report: Report) -> None:
    """Print what a mark and a rule cost in a small search and in a large one, and the large one as a whole."""
    report.heading(f"Search: {_MARKS} marks, {_RULES} rules, {_DAYS} days, in process; time of the processor")
    every, places = rules(), marks()
    few = [every[k : k + _FEW_RULES] for k in range(0, _RULES, _FEW_RULES)]
    small: list[float] = []
    large: list[float] = []
    found = 0
    for repetition in range(-1, _REPETITIONS):
        start = _start(repetition)
        _prepared(places, every[:_FEW_RULES], start - _APART)()
        parts: list[float] = []
        for k, pair in enumerate(few):
            asked = _prepared(places[:_FEW_MARKS], pair, start + k * _STEP)
            gc.collect()
            parts.append(_seconds(asked))
        counted: list[int] = []
        asked = _prepared(places, every, start + len(few) * _STEP)
        gc.collect()
        whole = _seconds(partial(_count, asked, counted))
        if repetition >= 0:
            small.append(sum(parts) / (len(few) * _FEW_MARKS * _FEW_RULES))
            large.append(whole / (_MARKS * _RULES))
            found += counted[0]
    one, many = median(small), median(large)
    work = kernel()
    report.add("choosing: windows found, all repetitions", found)
    report.add(f"choosing: a mark and a rule, {_FEW_MARKS} x {_FEW_RULES}", one * 1e3, "ms")
    report.add(f"choosing: a mark and a rule, {_MARKS} x {_RULES}", many * 1e3, "ms")
    ratio = many / one
    report.add("choosing: cost of the large search over the small", ratio, "x", "0.8 to 1.2", 0.8 <= ratio <= 1.2)
    whole = many * _MARKS * _RULES
    report.add("choosing: calibration kernel beside it", work * 1e3, "ms")
    report.add(f"choosing: {_MARKS} x {_RULES} x {_DAYS} days, whole", whole, "s", "<= 1", whole <= 1.0)
    report.add("choosing: whole, in kernels", whole / work, "x")
