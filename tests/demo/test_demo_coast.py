"""The invented coast: its documents parse, its tides are what they are said to be, its rules give windows all year."""

from __future__ import annotations

import cmath
import datetime
import json
import math
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from demo_stations import make_gauge_record
from service.api.v1.schemas.stations import StationCreate
from tidecore import TideModel, fit, read_gauge
from tidecore.catchlog import Regulation
from tidecore.harmonics.engine import solve
from tidecore.place import Mark
from tidecore.rules import Method, SpeciesRule, check_overrides, check_tackle
from tidecore.timeline import build_timeline
from tidecore.windows import find_windows

COAST = Path(__file__).resolve().parents[2] / "demo_stations"
#: Diurnal and faster constituents of the fit lie so near the script's own [m], as vectors: three to four times what
#: a year of that surge leaves in a diurnal line (2 mm), and the spikes.
NEAR_M = 0.010
#: The annual one takes up surge: a surge of 0.12 m with a memory of 30 h leaves 0.12 sqrt(2 x 60 / 8400) = 14 mm in
#: every slow line.
NEAR_SLOW_M = 0.040
SEA = {"wave_height", "sea_trend", "sea_temperature", "clarity"}
#: Rules by the months, whole ones, in which each is in season and out of it.
IN_SEASON = {
    "bass_surf": (5, 6, 7, 8, 9, 10),
    "cod": (11, 12, 1, 2, 3),
    "whiting": (10, 11, 12, 1),
    "plaice": (4, 5, 6, 7, 8, 9),
    "plaice_late_winter": (2, 3),
    "flounder": (10, 11, 12, 1, 2),
    "dab": (11, 12, 1, 2, 3),
    "smooth_hound": (5, 6, 7, 8),
    "sole": (5, 6, 7, 8, 9, 10),
    "thornback_ray": tuple(range(1, 13)),
    "conger": (5, 6, 7, 8, 9, 10, 11),
    "mackerel": (6, 7, 8, 9),
    "thick_lipped_mullet": (5, 6, 7, 8, 9, 10),
    "ballan_wrasse": (5, 6, 7, 8, 9, 10),
}
OUT_OF_SEASON = {
    "bass_surf": (1, 2, 3),
    "cod": (5, 6, 7, 8, 9),
    "whiting": (3, 4, 5, 6, 7, 8),
    "plaice": (11, 12, 1, 2),
    "plaice_late_winter": (5, 6, 7, 8, 9, 10, 11, 12),
    "flounder": (4, 5, 6, 7),
    "dab": (5, 6, 7, 8, 9),
    "smooth_hound": (10, 11, 12, 1, 2, 3),
    "sole": (1, 2, 3, 12),
    "thornback_ray": (),
    "conger": (1, 2, 3),
    "mackerel": (11, 12, 1, 2, 3, 4),
    "thick_lipped_mullet": (12, 1, 2, 3),
    "ballan_wrasse": (12, 1, 2, 3),
}


def documents(kind):
    return {path.stem: json.loads(path.read_text("utf-8")) for path in sorted((COAST / kind).glob("*.json"))}


def marks():
    return {ref: Mark.parse(document) for ref, document in documents("marks").items()}


def rules():
    return {ref: SpeciesRule.parse(document) for ref, document in documents("rules").items()}


def given_model(ref):
    new = StationCreate.parse(documents("stations")[ref]).to_new()
    assert new.model is not None
    return TideModel.from_constituents(
        new.model.constituents,
        latitude=new.latitude,
        mean_level=new.model.mean_level_m,
        convention=new.model.convention,
        datum=new.model.datum,
        station=new.name,
    )


def read_record(folder=COAST / "gauges"):
    return read_gauge(folder / "tarrowick_roads.csv", **documents("gauges")["tarrowick_roads"])


def vector(constituent):
    amplitude, phase = constituent
    return cmath.rect(amplitude, math.radians(phase))


def distances(found, expected):
    """Distance of each constituent of ``expected`` from that of ``found`` [m], as vectors."""
    return {name: abs(vector(found[name]) - vector(expected[name])) for name in expected}


def solved(record, names):
    """Constituents of a record, without the diagnostics that make a fit slow."""
    valid = record["sea_level"].dropna("time")
    times_us = valid["time"].values.astype("datetime64[us]").view(np.int64)
    found = solve(times_us, valid.values, make_gauge_record.LATITUDE, names).harmonics
    return {name: (found.amplitude_of(name), found.phase_of(name)) for name in names}


@pytest.fixture(scope="module")
def models():
    """Tides of the three stations; of the fitted one, what the fit is to find."""
    true = TideModel.from_constituents(
        make_gauge_record.CONSTITUENTS,
        latitude=make_gauge_record.LATITUDE,
        mean_level=make_gauge_record.MEAN_LEVEL,
        convention="utide",
    )
    given = {ref: given_model(ref) for ref in ("quenlow_haven", "ondrith_sound")}
    return {"tarrowick_roads": true, **given}


@pytest.fixture(scope="module")
def fitted():
    return fit(read_record(), latitude=documents("stations")["tarrowick_roads"]["latitude"])


def windows_of(models, rule, mark_ref, start, days):
    mark = marks()[mark_ref]
    first = np.datetime64(start)
    timeline = build_timeline(mark, models[mark.station], first, first + np.timedelta64(days, "D"))
    return find_windows(rules()[rule], timeline), timeline


def test_the_coast_is_as_large_as_it_is_said_to_be():
    assert set(documents("stations")) == {"tarrowick_roads", "quenlow_haven", "ondrith_sound"}
    assert len(documents("marks")) == 8
    assert set(documents("rules")) == set(IN_SEASON)


def test_stations_parse_and_the_one_without_a_model_has_a_record():
    parsed = {ref: StationCreate.parse(document) for ref, document in documents("stations").items()}
    without = {ref for ref, station in parsed.items() if station.model is None}
    assert without == {path.stem for path in (COAST / "gauges").glob("*.csv")} == set(documents("gauges"))
    assert parsed["tarrowick_roads"].latitude == make_gauge_record.LATITUDE


def test_marks_parse_and_follow_a_station():
    found = marks()
    assert {mark.station for mark in found.values()} == set(documents("stations"))
    assert {mark.kind for mark in found.values()} == {
        "open_beach", "estuary", "rock_ledge", "pier_or_wall", "harbour"
    }  # fmt: skip
    assert {"shingle"} <= {bed for mark in found.values() for bed in mark.beds}
    assert sum(mark.flow_reliable for mark in found.values()) == 4


def test_what_can_be_known_of_a_mark_is_known_of_one_and_not_of_another():
    optional = set(Mark.model_fields) - {name for name, field in Mark.model_fields.items() if field.is_required()}
    given = {ref: set(document) for ref, document in documents("marks").items()}
    for name in optional - {"notes", "beds", "conditions_area", "ground_datum", "species"}:
        assert 0 < sum(name in fields for fields in given.values()) < len(given), name
    for mark in marks().values():
        check_overrides(mark)
        assert set(mark.all_beds) >= set(mark.beds)


def levels_of(models, ref):
    """Highest levels of the tide of a year on the ground of a mark: at springs, and at the smallest neaps."""
    mark = marks()[ref]
    highs = models[mark.station].extremes("2026-01-01", "2027-01-01").highs().primaries().height
    return mark, highs.max() - mark.ground_datum.above_datum_m, highs.min() - mark.ground_datum.above_datum_m


def test_the_ground_of_each_mark_goes_with_its_tide(models):
    for ref, mark in marks().items():
        if mark.profile and mark.ground_datum.above_datum_m is not None:
            _, springs, _ = levels_of(models, ref)
            levels = [point.level_m for point in mark.profile]
            lowest = models[mark.station].heights(
                np.datetime64("2026-01-01") + np.arange(8760).astype("timedelta64[h]")
            )
            assert levels[0] == max(levels) > springs, ref
            assert min(levels) < lowest.min() - mark.ground_datum.above_datum_m, ref
    ledge, springs, neaps = levels_of(models, "vorrick_ledge")
    assert neaps < ledge.ledge_height_m < springs
    assert ledge.way_back[0].lowest_sill_m < ledge.ledge_height_m
    wall, springs, _ = levels_of(models, "quenlow_outer_wall")
    assert wall.ledge_height_m > springs
    creek, springs, neaps = levels_of(models, "sallowen_creek")
    assert neaps < creek.way_back[0].lowest_sill_m < springs


def test_marks_are_open_most_of_the_time_and_not_always(models):
    for mark in marks().values():
        timeline = build_timeline(mark, models[mark.station], "2026-01-01", "2027-01-01", "1h", names=["access_open"])
        is_open, shut = ((timeline.columns["access_open"] == state).mean() for state in (1, 0))
        if not mark.access:
            assert is_open == shut == 0.0
        elif any(one.by_the_sea for one in mark.access):
            # Nobody gave a wind: it is shut by the clock or unknown.
            assert is_open == 0.0 < shut < 0.5
        else:
            assert 0.0 < shut < 0.35 < is_open


def test_rules_parse_and_say_where_they_come_from():
    for rule in rules().values():
        assert SpeciesRule.parse(rule.to_document()) == rule
        assert rule.provenance == "common practice"
        assert not any(leaf.needs_lags for leaf in rule.tree.leaves)


def test_the_coast_says_that_it_is_invented():
    text = (COAST / "README.md").read_text("utf-8")
    assert "Invented; no real place; not for navigation." in text
    assert all(mark.notes.startswith("Invented.") for mark in marks().values())
    assert "Invented" in (COAST / "gauges" / "tarrowick_roads.csv").read_text("ascii")[:200]


def test_positions_lie_in_the_open_ocean_and_apart():
    places = [(d["latitude"], d["longitude"]) for kind in ("stations", "marks") for d in documents(kind).values()]
    assert all(47.0 < latitude < 48.0 and -18.7 < longitude < -17.5 for latitude, longitude in places)
    assert len(set(places)) == len(places)


def test_the_clock_of_the_coast_has_summer_time():
    zones = {d["time_zone"] for kind in ("stations", "marks") for d in documents(kind).values()}
    (zone,) = [ZoneInfo(name) for name in zones]
    winter, summer = (make_gauge_record.START.replace(month=month).astimezone(zone) for month in (1, 7))
    assert winter.utcoffset() != summer.utcoffset()


def test_the_record_is_made_again_byte_for_byte(tmp_path):
    make_gauge_record.main(["--into", str(tmp_path)])
    name = "tarrowick_roads.csv"
    again = (tmp_path / name).read_bytes()
    assert again == (COAST / "gauges" / name).read_bytes(), "run python -m demo_stations.make_gauge_record"
    assert len(again) < 300_000


def test_the_record_has_its_faults_and_they_are_reported():
    attributes = read_record().attrs
    gap = make_gauge_record.GAP
    assert attributes["rows"] == make_gauge_record.HOURS - len(gap)
    assert attributes["sentinels"] == sum(count for _, count in make_gauge_record.MISSING)
    assert attributes["longest_gap_h"] == len(gap) + 1
    assert 0 < attributes["rejected"] <= make_gauge_record.WILD


def test_the_fit_finds_the_tide_under_surge_noise_spikes_and_gap(fitted):
    off = distances(fitted.constituents, make_gauge_record.CONSTITUENTS)
    annual = off.pop("SA")
    assert max(off.values()) < NEAR_M, off
    assert annual < NEAR_SLOW_M
    assert abs(fitted.mean_level - make_gauge_record.MEAN_LEVEL) < NEAR_SLOW_M


def test_the_residual_of_the_fit_is_the_weather(fitted):
    assert fitted.diagnostics is not None
    assert make_gauge_record.SURGE_M < fitted.diagnostics.residual_rms_m < 1.5 * make_gauge_record.SURGE_M
    assert fitted.diagnostics.skill > 0.98


def test_spikes_that_could_be_levels_move_a_plain_fit_by_millimetres(tmp_path, monkeypatch):
    monkeypatch.setattr(make_gauge_record, "PLAUSIBLE", 0)
    make_gauge_record.main(["--into", str(tmp_path)])
    names = list(make_gauge_record.CONSTITUENTS)
    spiked, clean = (solved(record, names) for record in (read_record(), read_record(tmp_path)))
    moved = max(distances(spiked, clean).values())
    assert 0.0 < moved < 0.006


def test_form_numbers_are_those_of_the_three_kinds(models, fitted):
    assert models["tarrowick_roads"].form_number < 0.1
    assert fitted.form_number < 0.1
    assert models["quenlow_haven"].form_number < 0.25
    assert 0.5 < models["ondrith_sound"].form_number < 1.5


def test_m4_bends_low_water_up_in_the_middle(models):
    """With M2 alone at its low water, the second derivative is that of A2 less 4 A4 cos(g4 - 2 g2)."""
    (a2, g2), (a4, g4) = (models["quenlow_haven"].constituents[name] for name in ("M2", "M4"))
    assert 4.0 * a4 * math.cos(math.radians(g4 - 2.0 * g2)) > a2


def test_low_water_is_double_on_all_but_the_smallest_tides(models):
    model = models["quenlow_haven"]
    lows = model.extremes("2026-01-01", "2027-01-01").lows().primaries()
    cycle = model.range_cycle("2026-01-01", "2027-01-01")
    ratio = cycle.daily_range_at(lows.times_us()) / model.mean_spring_range
    large, small = ratio > 0.85, ratio < 0.45
    assert large.sum() > 100
    assert small.sum() > 50
    assert lows.double[large].mean() > 0.95
    assert lows.double[small].mean() < 0.3
    assert not model.extremes("2026-01-01", "2027-01-01").highs().double.any()


@pytest.mark.parametrize("ref", ["tarrowick_roads", "quenlow_haven"])
def test_no_tide_of_a_year_is_lost_or_split(models, ref):
    highs = models[ref].extremes("2026-01-01", "2027-01-01").highs().primaries()
    hours = np.diff(highs.time) / np.timedelta64(1, "h")
    assert hours.min() > 11.0
    assert hours.max() < 14.0


def test_a_double_low_water_stands_in_the_curve_itself(models):
    """Minute by minute: two separate minima, the second the lower, with a hump of more than 3 cm between them."""
    model = models["quenlow_haven"]
    lows = model.extremes("2026-01-01", "2026-03-01").lows()
    lows = lows.select(lows.double)
    tides, counts = np.unique(lows.tide_id, return_counts=True)
    assert (counts[1:-1] == 2).all()
    assert tides.size > 50
    for tide in tides[1:-1]:
        first, second = lows.time[lows.tide_id == tide]
        between = model.heights(np.arange(first, second, np.timedelta64(1, "m")))
        ends = model.heights(np.array([first, second]))
        assert between.max() > ends.max() + 0.03
        assert between.min() >= ends.min() - 1e-4
        assert ends[1] < ends[0]
        assert np.timedelta64(4, "h") < second - first < np.timedelta64(8, "h")


def suits(rule, mark):
    return rules()[rule].accepts_ground(marks()[mark])


@pytest.mark.parametrize("month", range(1, 13))
def test_every_fortnight_of_the_year_has_windows_of_two_rules(models, month):
    for mark in ("quenlow_outer_wall", "ondrith_strand"):
        for day in (1, 15):
            start = f"2026-{month:02d}-{day:02d}"
            counts = {rule: len(windows_of(models, rule, mark, start, 14)[0]) for rule in rules()}
            assert sum(count > 0 for count in counts.values()) >= 2, (start, mark, counts)
            assert all(counts[rule] == 0 for rule, months in OUT_OF_SEASON.items() if month in months), counts
            due = [rule for rule, months in IN_SEASON.items() if month in months and suits(rule, mark)]
            assert all(counts[rule] > 0 for rule in due), counts


def test_no_rule_calls_most_of_a_fortnight_good(models):
    for rule, months in IN_SEASON.items():
        for mark in ("mirrelsand", "quenlow_outer_wall", "sallowen_creek"):
            windows, _ = windows_of(models, rule, mark, f"2026-{months[1]:02d}-05", 14)
            assert sum(window.duration_h for window in windows) < 0.5 * 14 * 24, (rule, mark)


def test_bass_come_with_the_young_flood_in_the_dark(models):
    windows, timeline = windows_of(models, "bass_surf", "drenlow_bank", "2026-06-01", 28)
    middles = np.array(
        [window.best_hour.start + (window.best_hour.end - window.best_hour.start) / 2 for window in windows]
    )
    at = timeline.at(middles, ["sun_altitude", "hours_from_lw"])
    assert at["sun_altitude"].max() < 8.0
    assert at["hours_from_lw"].min() > -0.5
    assert at["hours_from_lw"].max() < 3.75


def test_dab_come_about_low_water_and_plaice_by_day(models):
    windows, _ = windows_of(models, "dab", "mirrelsand", "2026-12-01", 14)
    assert all(any(key.kind == "low_water" for key in window.key_times) for window in windows[1:-1])
    windows, timeline = windows_of(models, "plaice", "mirrelsand", "2026-05-01", 14)
    ends = np.array([[window.start, window.end] for window in windows]).ravel()
    assert timeline.at(ends, ["sun_altitude"])["sun_altitude"].min() > -3.0


def test_what_nobody_gave_is_named_in_every_window(models):
    for rule in rules().values():
        wanted = {term.factor: term.unknown for term in rule.terms if term.factor in SEA}
        assert set(wanted.values()) <= {"ignore"}
    windows, _ = windows_of(models, "bass_surf", "vorrick_ledge", "2026-06-05", 14)
    for window in windows:
        assert {term.factor for term in window.unknowns} == SEA
        assert all(term.share == 1.0 and term.policy == "ignore" for term in window.unknowns)


def test_a_mark_whose_stream_is_not_known_has_windows_that_say_so(models):
    unsure, _ = windows_of(models, "smooth_hound", "vorrick_ledge", "2026-06-05", 14)
    sure, _ = windows_of(models, "smooth_hound", "drenlow_bank", "2026-06-05", 14)
    assert [window.flow_reliable for window in unsure] == [False] * len(unsure)
    assert [window.flow_reliable for window in sure] == [True] * len(sure)
    assert len(unsure) > 10
    assert len(sure) > 10


def test_regulations_parse_and_are_of_areas_that_marks_name():
    found = {ref: Regulation.parse(document) for ref, document in documents("regulations").items()}
    named = {area for mark in marks().values() for area in mark.regulation_areas}
    assert {one.area for one in found.values()} == named
    assert all("nvented" in one.source and "nvented" in one.notes for one in found.values())
    assert {ref for ref, one in found.items() if one.stale_on(datetime.date(2026, 6, 1))} == {"quenlow_harbour"}


def test_methods_parse_and_their_tackle_is_right():
    starters = {ref: Method.parse(document) for ref, document in documents("methods").items()}
    assert len(starters) == 9
    for method in starters.values():
        assert Method.parse(method.to_document()) == method
        assert method.provenance == "common practice"
        assert method.suits
        assert check_tackle(method) == ()


def test_every_rule_has_a_method():
    starters = [Method.parse(document) for document in documents("methods").values()]
    for rule in rules().values():
        assert any(method.is_for(rule.species) for method in starters), rule.name
