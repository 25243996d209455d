"""What hazards cost a search: the same search with and without them, in turn, and 200 windows told.

Each repetition is of another season, and tide, conditions and timelines are made anew for each search. Every third
search meets profiles that no search has met; the next one of the same season knows them, as a service does.
"""

from __future__ import annotations

import time
from functools import partial
from itertools import starmap
from statistics import median

import numpy as np

import tidecore
from tests.benchmarks import choosing
from tests.benchmarks.measure import Report
from tidecore.safety import Care
from tidecore.sky import sky_positions
from tidecore.windows import find_all_windows

_MARKS, _A_STATION, _DAYS, _TOLD = 50, 10, 14, 200
_REPETITIONS = 5
_REACH = np.timedelta64(4, "D")


def _mark(plain: tidecore.Mark, number: int) -> tidecore.Mark:
    """Return a mark with a profile, a bar, a peg, a way back and a cliff: all that hazards look at.

    Another number is another profile.
    """
    levels = ((0.0, 9.0 + 0.001 * number), (60.0, 5.2), (200.0, 1.0), (240.0, 1.5), (600.0, -5.0))
    return tidecore.Mark.parse(
        plain.to_document()
        | {
            "beds": ["clean_sand"],
            "ground_datum": {"name": "zero", "above_datum_m": 0.0, "source": "invented"},
            "profile": [{"distance_m": at, "level_m": level, "bed": "clean_sand"} for at, level in levels],
            "peg": {"distance_m": 50.0},
            "way_back": [{"name": "path", "lowest_sill_m": 5.0, "bed": "clean_sand", "length_m": 300.0}],
            "cliff": ["foot"],
        }
    )


def _search(marks: list[tidecore.Mark], start: np.datetime64, care: Care | None) -> float:
    """Search, and return how long the processor took [s]; with hazards the best windows are told too."""
    end, rules = start + np.timedelta64(_DAYS, "D"), choosing.rules()
    tides, seas = choosing.models(_MARKS), choosing.seas(_MARKS, start)
    sky = sky_positions(start - _REACH, end + _REACH)
    names = tuple(dict.fromkeys(name for rule in rules for name in rule.factor_names))
    begun, found = time.process_time(), []
    for k, mark in enumerate(marks):
        station = k // _A_STATION
        line = tidecore.build_timeline(mark, tides[station], start, end, sky=sky, names=names, conditions=seas[station])
        for windows in find_all_windows(rules, line, care=care):
            found += [(window, line) for window in windows]
    if care is not None:
        found.sort(key=lambda one: -one[0].score_hours)
        for window, line in found[:_TOLD]:
            care.stay(line, window.start, window.end)
    return time.process_time() - begun


def run(report: Report) -> None:
    """Print what a search with hazards takes of one without, the first time and then."""
    report.heading(f"Hazards: {_MARKS} marks with profiles, {_DAYS} days, {_TOLD} windows told; time of the processor")
    new, known = [], []
    for repetition in range(-1, _REPETITIONS):
        first = (repetition + 1) * _MARKS
        marks = list(starmap(_mark, zip(choosing.marks(), range(first, first + _MARKS), strict=True)))
        asked = partial(_search, marks, choosing._start(repetition))
        plain, meeting, careful, again = asked(None), asked(Care()), asked(Care()), asked(None)
        if repetition >= 0:
            # Between the two without: a machine that slows down or speeds up meanwhile favours none.
            new.append(2.0 * meeting / (plain + again))
            known.append(2.0 * careful / (plain + again))
    for met, ratios in (("new profiles", new), ("known profiles", known)):
        ratio = median(ratios)
        name = f"hazards: over the search without, {met}"
        report.add(name, ratio, "x", "<= 1.3", ratio <= 1.3)
    report.add("hazards: the same, new profiles, dearest season", max(new), "x")
