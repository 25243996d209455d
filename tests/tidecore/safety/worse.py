"""Random outings made worse in one way, and with one thing less known: neither may make an answer look safer.

``python -m tests.tidecore.safety.worse SEED COUNT``
"""

from __future__ import annotations

import random
import sys
import time
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.tidecore.safety.shores import CALM, ZERO, line_of
from tidecore.calendars import difference
from tidecore.safety import HazardReport, OutingFacts, assess, danger_spans
from tidecore.timeline import Timeline

KINDS = ("open_beach", "rock_ledge", "pier_or_wall", "estuary", "harbour")
BEDS = ("clean_sand", "shingle", "mud", "broken_or_mixed", "sand_with_bars_and_gutters")
#: What can be made worse.
WORSE = (
    "surge",
    "pressure",
    "deck",
    "height",
    "period",
    "wind",
    "gust",
    "pace",
    "sill",
    "cold",
    "thunder",
    "rain",
    "mist",
)
#: What can be left out of the mark, of the conditions and of what is said, and the kinds of hazard that rest on it.
DROPPED: dict[str, tuple[str, ...]] = {
    "ground_datum": ("overwash", "water_behind", "cut_off", "overtopping", "surge"),
    "ledge_height_m": ("overtopping",),
    "pressure_hpa": ("overwash", "water_behind", "cut_off", "overtopping", "surge"),
    "wind_gust_m_per_s": ("wind",),
    "way_back": ("cut_off", "sill_survey", "visibility"),
    "wave_height_m": ("overwash", "overtopping", "waves_on_rock", "waves_on_wall", "shore_break", "wading"),
    "wave_period_s": ("overwash", "waves_on_rock", "waves_on_wall", "shore_break"),
    "wind_speed_m_per_s": ("cold_air", "access", "wind"),
    "air_temperature_c": ("cold_air", "cliff"),
    "sea_temperature_c": ("cold_water",),
    "rain_mm_per_h": ("cliff",),
    "thunder_probability_percent": ("thunder",),
    "visibility_m": ("visibility",),
    "alone": ("alone",),
    "first_visit": ("dark",),
}
#: Kinds that stand for others where what those rest on is not known.
INSTEAD = {
    "overwash": {"ground", "sea", "surge"},
    "overtopping": {"sea", "surge"},
    "water_behind": {"ground", "cut_off", "surge"},
    "cut_off": {"surge"},
    "surge": {"ground", "cut_off", "overtopping"},
    "waves_on_rock": {"sea"},
    "waves_on_wall": {"sea"},
    "shore_break": {"sea"},
    "wading": {"sea"},
    "sill_survey": {"cut_off"},
}


@dataclass(frozen=True)
class Case:
    """A mark, the sea and air there, who goes, and when."""

    mark: dict[str, Any]
    sea: dict[str, Any]
    facts: OutingFacts
    start: np.datetime64
    end: np.datetime64

    def timeline(self) -> Timeline:
        return line_of(self.mark, self.sea)

    def report(self) -> HazardReport:
        return assess(self.timeline(), self.start, self.end, facts=self.facts)


def case_of(chance: random.Random) -> Case:
    """A random outing; in half of them the bed is the same throughout and the ground has no bar."""
    kind = chance.choice(KINDS)
    bed = chance.choice(BEDS)
    even = chance.random() < 0.5
    levels = [chance.uniform(5.0, 9.0)]
    for _ in range(chance.randint(2, 6)):
        levels.append(levels[-1] - chance.uniform(0.2, 2.5) if even or chance.random() < 0.7 else levels[-1] + 0.8)
    levels.append(min(levels) - 4.0)
    distances = np.cumsum([0.0, *(chance.uniform(10.0, 90.0) for _ in levels[1:])]).round(1).tolist()
    beds = [bed if even else chance.choice(BEDS) for _ in levels]
    profile = [
        {"distance_m": at, "level_m": round(level, 2), "bed": one}
        for at, level, one in zip(distances, levels, beds, strict=True)
    ]
    sill = chance.uniform(1.0, 6.0)
    mark: dict[str, Any] = {"kind": kind, "ground_datum": ZERO, "beds": [bed]}
    if kind in ("open_beach", "estuary"):
        mark |= {"profile": profile, "peg": {"distance_m": round(chance.uniform(0.0, distances[-1]), 1)}}
    else:
        mark |= {"ledge_height_m": round(chance.uniform(3.0, 9.0), 1)}
    leg = {"name": "gut", "lowest_sill_m": round(sill, 2), "bed": "clean_sand", "length_m": chance.uniform(50, 900)}
    mark |= {"way_back": [leg | {"surveyed": "2026-05-20"}]}
    if chance.random() < 0.5:
        mark |= {"cliff": ["foot"]}
    if chance.random() < 0.3:
        mark |= {"access": [{"kind": "gale_closure", "state": "closed", "wind_over_m_per_s": 12.0}]}
    sea: dict[str, Any] = CALM | {
        "wave_height_m": chance.choice([0.2, 0.6, 1.0, 1.3, 1.8, 3.0]),
        "wave_period_s": chance.choice([4.0, 7.0, 9.0, 12.5, 16.0]),
        "wind_speed_m_per_s": chance.choice([0.5, 2.0, 8.0, 13.0]),
        "air_temperature_c": chance.choice([-15.0, -1.0, 5.0, 12.0]),
        "sea_temperature_c": chance.choice([6.0, 12.0, 17.0]),
        "rain_mm_per_h": chance.choice([0.0, 0.3, 0.6]),
        "thunder_probability_percent": chance.choice([0.0, 20.0, 60.0]),
        "visibility_m": chance.choice([100.0, 700.0, 20_000.0]),
    }
    # Gusts are at most twice the mean wind; more is no wind but a squall, which nothing foretells.
    sea |= {
        "wind_gust_m_per_s": chance.choice([None, sea["wind_speed_m_per_s"] * chance.uniform(1.0, 2.0)]),
        "pressure_hpa": chance.choice([None, 1020.0, 1005.0, 975.0]),
    }
    facts = OutingFacts(
        surge_m=chance.choice([None, None, 0.0, 0.4]),
        alone=chance.choice([True, False, None]),
        first_visit=chance.choice([True, False, None]),
        wading=chance.choice([True, False, None]),
        bathers=False,
    )
    start = np.datetime64("2026-06-10T00:00") + np.timedelta64(chance.randrange(0, 36 * 60), "m")
    return Case(mark, sea, facts, start, start + np.timedelta64(chance.randrange(60, 480), "m"))


def worsened(case: Case, how: str, chance: random.Random) -> Case:
    """The same outing with one thing worse."""
    sea, facts, mark = dict(case.sea), case.facts, dict(case.mark)
    more = 1.0 + chance.uniform(0.02, 1.5)
    if how == "surge":
        low = 1013.25 - (sea["pressure_hpa"] or 1013.25)
        known = max(0.0, 0.01 * low) if facts.surge_m is None else facts.surge_m
        facts = replace(facts, surge_m=known + chance.uniform(0.02, 2.0))
    elif how == "pressure":
        sea["pressure_hpa"] = (sea["pressure_hpa"] or 1013.25) - chance.uniform(0.5, 60.0)
    elif how == "deck":
        if "ledge_height_m" in mark:
            mark["ledge_height_m"] = max(0.0, mark["ledge_height_m"] - chance.uniform(0.02, 3.0))
    elif how == "gust":
        sea["wind_gust_m_per_s"] = (sea["wind_gust_m_per_s"] or 2.0 * sea["wind_speed_m_per_s"]) * more
    elif how == "pace":
        facts = replace(facts, pace=more)
    elif how == "sill":
        # A lower sill is under water sooner.
        legs = [{**leg, "lowest_sill_m": leg["lowest_sill_m"] - chance.uniform(0.02, 2.0)} for leg in mark["way_back"]]
        mark["way_back"] = legs
    elif how == "cold":
        sea["air_temperature_c"] -= chance.uniform(0.1, 20.0)
        sea["sea_temperature_c"] -= chance.uniform(0.1, 6.0)
    elif how == "thunder":
        sea["thunder_probability_percent"] = min(100.0, sea["thunder_probability_percent"] + 35.0)
    elif how == "rain":
        sea["rain_mm_per_h"] += 0.4
    elif how == "mist":
        sea["visibility_m"] /= 3.0
    else:
        name = {"height": "wave_height_m", "period": "wave_period_s", "wind": "wind_speed_m_per_s"}[how]
        sea[name] = min(sea[name] * more, 39.0)
    return replace(case, sea=sea, facts=facts, mark=mark)


#: What weighs as much as what in one kind; a stretch that is not assessed is a caution.
_WEIGHT = {"info": 0, "caution": 1, "not_assessed": 1, "danger": 2}


def _worst(report: HazardReport) -> dict[str, int]:
    found: dict[str, int] = {}
    for one in report.hazards:
        found[one.kind] = max(found.get(one.kind, 0), _WEIGHT[one.grade])
    return found


def looks_safer(case: Case, worse: Case) -> list[str]:
    """What looks safer in the outing that is worse; empty where nothing does.

    What was not assessed may be known once the water or the sea is higher: only then may its weight fall. A danger
    stays one at every instant, and a caution stays one.
    """
    before, after = case.report(), worse.report()
    old, new = _worst(before), _worst(after)
    if worse.facts.surge_m is not None:
        # Once somebody says the surge, that of the pressure is none of its own.
        old.pop("surge", None)
    only_unknown = {
        kind
        for kind in old
        if old[kind] == 1 and all(one.grade != "caution" for one in before.hazards if one.kind == kind)
    }
    found = [
        f"{kind}: {old[kind]} to {new.get(kind, 0)}"
        for kind in old
        if new.get(kind, 0) < old[kind] and not (kind in only_unknown and kind in ("overwash", "sea", "surge"))
    ]
    lost = difference(
        danger_spans(case.timeline(), facts=case.facts), danger_spans(worse.timeline(), facts=worse.facts)
    )
    found += [f"danger from {np.datetime64(a, 'us')} to {np.datetime64(b, 'us')} is gone" for a, b in lost.tolist()]
    if not only_unknown and max(old.values(), default=0) > after.weight:
        found.append(f"the whole: {before.weight} to {after.weight}")
    return found


def without(case: Case, name: str) -> Case:
    """The same outing with one thing not known."""
    if name in case.mark:
        return replace(case, mark={**case.mark, name: [] if name == "way_back" else None})
    if name in case.sea:
        return replace(case, sea={**case.sea, name: None})
    nothing: dict[str, Any] = {name: None} if name in ("alone", "first_visit") else {}
    return replace(case, facts=replace(case.facts, **nothing))


def forgotten(case: Case, name: str) -> list[str]:
    """The kinds that were a caution or a danger, and are nothing once what they rest on is not known."""
    old, new = _worst(case.report()), _worst(without(case, name).report())
    return [
        f"{kind}: {old[kind]} to nothing without {name}"
        for kind in DROPPED[name]
        if old.get(kind, 0) >= 1 and max(new.get(one, 0) for one in {kind, *INSTEAD.get(kind, ())}) < 1
    ]


def check(seed: int) -> list[str]:
    """One random outing made worse in one way, and with one thing forgotten: what is wrong with the answers."""
    chance = random.Random(seed)
    case = case_of(chance)
    how, name = chance.choice(WORSE), chance.choice(list(DROPPED))
    return [
        *(f"{seed} {how}: {said}" for said in looks_safer(case, worsened(case, how, chance))),
        *(f"{seed}: {said}" for said in forgotten(case, name)),
    ]


if __name__ == "__main__":
    first, count = int(sys.argv[1]), int(sys.argv[2])
    begun, wrong = time.monotonic(), 0
    for seed in range(first, first + count):
        for said in check(seed):
            wrong += 1
            sys.stdout.write(f"{said}\n")
    sys.stdout.write(f"{count} outings, {wrong} that look safer, {time.monotonic() - begun:.0f} s\n")
    sys.exit(1 if wrong else 0)
