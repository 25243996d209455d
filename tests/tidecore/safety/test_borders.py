"""At the borders of grades: what a threshold itself is, just under it and just over it.

A threshold belongs to the graver grade, but where the trade says "over", "under", "above" or "more than" it.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
import pytest

from tests.tidecore.safety.shores import BEACH, CALM, EVENING, LEDGE, MIDNIGHT, NOON, WAY, issue_of, line_of, warning_of
from tidecore.conditions import Conditions
from tidecore.safety import OutingFacts, assess
from tidecore.safety.assessing import graded_lines
from tidecore.safety.looking import look_at
from tidecore.safety.thresholds import DEFAULTS
from tidecore.shore import Ground, Waves, covered_spans, plane_ground, run_up
from tidecore.shore.dangers import GRADES, WAVES_IN_OUTING, overtopped, overwash
from tidecore.shore.fishability import FISHABLE, HOLDING, SURF, fishable, hindering_wind, holding, surf
from tidecore.shore.setting import setting_of
from tidecore.shore.swash import stockdon
from tidecore.shore.waves import largest_most_probable, largest_over_r2
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE
from tidecore.timeline import Timeline

KNOWN = OutingFacts(alone=False, first_visit=False, wading=False, bathers=False)
WADING = OutingFacts(alone=False, first_visit=False, wading=True, bathers=False)
SHINGLE: dict[str, Any] = {"kind": "open_beach", "beds": ["shingle"]}
SAND: dict[str, Any] = {"kind": "open_beach", "beds": ["clean_sand"]}
WALL: dict[str, Any] = LEDGE | {"kind": "pier_or_wall"}
CLIFF: dict[str, Any] = SAND | {"cliff": ["foot"]}
FAR: dict[str, Any] = SAND | {"way_back": [WAY[0] | {"length_m": 400.0}]}
GALE: dict[str, Any] = WALL | {"access": [{"kind": "gale_closure", "state": "closed", "wind_over_m_per_s": 12.0}]}
BREAKER: dict[str, Any] = WALL | {
    "access": [{"kind": "gale_closure", "state": "closed", "wave_height_over_m": 0.8}],
    "exposure": {"from_degree": 180.0, "to_degree": 330.0},
}
SHUT: dict[str, Any] = WALL | {
    "access": [
        {"kind": "gale_closure", "state": "closed", "wind_over_m_per_s": 12.0, "wave_height_over_m": 0.8},
        {"kind": "pier_hours", "state": "closed", "season": {"from": "06-01", "to": "06-30"}},
    ],
}
#: Where what matters is unknown from the threshold on.
UNKNOWN = ("not_assessed", "not_assessed")
#: How near to a threshold.
NEAR = 1e-6


def grade(timeline: Timeline, kind: str, at: np.datetime64 = NOON, facts: OutingFacts = KNOWN) -> str:
    """What a kind of hazard is graded at an instant; "none" where it is none."""
    look, lines = graded_lines(timeline, DEFAULTS, facts)
    k = int(np.searchsorted(look.times_us, int(at.astype("datetime64[us]").astype(np.int64))))
    return next((GRADES[int(line.codes[k])] for line in lines if line.kind == kind), "none")


class Border(NamedTuple):
    """A threshold of a variable of the conditions, and the grades just under it, at it and just over it."""

    kind: str
    mark: dict[str, Any]
    variable: str
    threshold: float
    grades: tuple[str, str, str]
    besides: Mapping[str, Any] = MappingProxyType({})
    facts: OutingFacts = KNOWN


#: Common practice, in its own words: what is "from" a threshold on and what is over it is part of them.
BORDERS = [
    # Tp >= 12 s with Hs >= 1.0 m, or Hs >= 1.5 m at any period.
    Border("waves_on_rock", LEDGE, "wave_height_m", 1.0, ("info", "danger", "danger"), {"wave_period_s": 12.0}),
    Border("waves_on_rock", LEDGE, "wave_period_s", 12.0, ("info", "danger", "danger"), {"wave_height_m": 1.0}),
    Border("waves_on_rock", LEDGE, "wave_height_m", 1.5, ("info", "danger", "danger"), {"wave_period_s": 5.0}),
    Border("waves_on_rock", LEDGE, "wave_height_m", 1.0, ("info", *UNKNOWN), {"wave_period_s": None}),
    Border("waves_on_wall", WALL, "wave_height_m", 1.5, ("info", "danger", "danger"), {"wave_period_s": 5.0}),
    # Hs >= 1.2 m with T >= 8 s on steep shingle.
    Border("shore_break", SHINGLE, "wave_height_m", 1.2, ("none", "danger", "danger"), {"wave_period_s": 8.0}),
    Border("shore_break", SHINGLE, "wave_period_s", 8.0, ("none", "danger", "danger"), {"wave_height_m": 1.2}),
    Border("shore_break", SHINGLE, "wave_height_m", 1.2, ("none", *UNKNOWN), {"wave_period_s": None}),
    # Thunder 30 % or more.
    Border("thunder", SAND, "thunder_probability_percent", 30.0, ("none", "caution", "caution")),
    # Visibility under 500 m.
    Border("visibility", FAR, "visibility_m", 500.0, ("danger", "none", "none")),
    # Sea under 15 C, under 10 C.
    Border("cold_water", SAND, "sea_temperature_c", 15.0, ("info", "none", "none")),
    Border("cold_water", SAND, "sea_temperature_c", 10.0, ("caution", "info", "info")),
    # Wind chill, and the air itself where there is no wind.
    Border("cold_air", SAND, "air_temperature_c", -10.0, ("caution", "caution", "none"), {"wind_speed_m_per_s": 0.0}),
    Border("cold_air", SAND, "air_temperature_c", -28.0, ("danger", "danger", "caution"), {"wind_speed_m_per_s": 0.0}),
    Border("cold_air", SAND, "air_temperature_c", 10.0, (*UNKNOWN, "none"), {"wind_speed_m_per_s": None}),
    # Frost, 20 mm of rain in 48 h.
    Border("cliff", CLIFF, "air_temperature_c", 0.0, ("caution", "caution", "info")),
    Border("cliff", CLIFF, "rain_mm_per_h", 20.0 / 48.0, ("info", "caution", "caution")),
    # Gusts; half as strong again as the mean wind where they are not told, and twice that at most.
    Border("wind", LEDGE, "wind_gust_m_per_s", 15.0, ("none", "caution", "caution")),
    Border("wind", LEDGE, "wind_gust_m_per_s", 20.0, ("caution", "danger", "danger")),
    Border("wind", LEDGE, "wind_speed_m_per_s", 7.5, ("none", "not_assessed", "not_assessed")),
    Border("wind", LEDGE, "wind_speed_m_per_s", 10.0, ("not_assessed", "caution", "caution")),
    Border("wind", LEDGE, "wind_speed_m_per_s", 20.0 / 1.5, ("caution", "danger", "danger")),
    # Waves above the knee.
    Border("wading", SAND | {"beach_slope": 0.02}, "wave_height_m", 0.5, ("none", "none", "danger"), {}, WADING),
    # 1 cm a hPa below the reference: 0.2 m at 993.25 hPa, told from half a centimetre on.
    Border("surge", BEACH, "pressure_hpa", 993.25, ("caution", "caution", "info")),
    Border("surge", BEACH, "pressure_hpa", 1012.75, ("info", "info", "none")),
    # A gale closure names wind or sea that it is over.
    Border("access", GALE, "wind_speed_m_per_s", 12.0, ("none", "none", "danger")),
    Border("access", BREAKER, "wave_height_m", 0.8, ("none", "none", "danger")),
    # What is closed anyhow is a danger by the gale alone.
    Border("access", SHUT, "wind_speed_m_per_s", 12.0, ("caution", "caution", "danger")),
    Border("access", SHUT, "wave_height_m", 0.8, ("caution", "caution", "danger")),
]  # fmt: skip


@pytest.mark.parametrize("one", BORDERS, ids=lambda one: f"{one.kind}-{one.variable}-{one.threshold:.4g}")
@pytest.mark.parametrize(("side", "place"), [(-NEAR, 0), (0.0, 1), (NEAR, 2)], ids=["under", "at", "over"])
def test_grades_change_at_their_thresholds(one: Border, side: float, place: int) -> None:
    sea = {**one.besides, one.variable: one.threshold + side}
    assert grade(line_of(one.mark, sea), one.kind, facts=one.facts) == one.grades[place]


@pytest.mark.parametrize(("height", "threshold"), [(1.5 - NEAR, 1.0), (1.5, 1.5)])
def test_a_sea_on_rock_is_told_beside_the_height_that_it_is_held_to(height: float, threshold: float) -> None:
    timeline = line_of(LEDGE, {"wave_height_m": height, "wave_period_s": 14.0})
    told = [one for one in assess(timeline, NOON, EVENING, facts=KNOWN).hazards if one.kind == "waves_on_rock"]
    assert [one.threshold for one in told] == [threshold]


@pytest.mark.parametrize(("length", "expected"), [(300.0 - NEAR, "none"), (300.0, "none"), (300.0 + NEAR, "danger")])
def test_flats_are_far_from_the_shore_over_300_metres(length: float, expected: str) -> None:
    mark = SAND | {"way_back": [WAY[0] | {"length_m": length}]}
    assert grade(line_of(mark, {"visibility_m": 100.0}), "visibility") == expected


@pytest.mark.parametrize(("peg", "expected"), [(300.0, "not_assessed"), (300.0 + NEAR, "danger")])
def test_without_a_way_back_a_peg_is_far_from_the_shore_over_300_metres(peg: float, expected: str) -> None:
    # Nearer than that it tells nothing: the shore may be far all the same.
    assert grade(line_of(BEACH | {"peg": {"distance_m": peg}}, {"visibility_m": 100.0}), "visibility") == expected


@pytest.mark.parametrize(
    ("whence", "expected"),
    [(180.0, "danger"), (180.0 - NEAR, "not_assessed"), (330.0, "danger"), (330.0 + NEAR, "not_assessed")],
)
def test_the_edges_of_an_exposure_belong_to_it(whence: float, expected: str) -> None:
    sea = issue_of({**CALM, "wave_height_m": 2.0, "wave_period_s": 14.0, "wave_from_degree": whence})
    offshore = sea.model_copy(update={"waves_at": "offshore"})
    exposed = LEDGE | {"exposure": {"from_degree": 180.0, "to_degree": 330.0}}
    assert grade(line_of(exposed, given=Conditions.of([offshore])), "waves_on_rock") == expected


@pytest.mark.parametrize(("seen", "expected"), [(50.0 - NEAR, "caution"), (50.0, "danger"), (50.0 + NEAR, "danger")])
def test_thunder_is_observed_from_so_much_on(seen: float, expected: str) -> None:
    observed = issue_of({**CALM, "thunder_probability_percent": seen}, kind="observation")
    assert grade(line_of(SAND, given=Conditions.of([observed])), "thunder") == expected


def test_thunder_counts_for_30_minutes_after_the_last() -> None:
    # Observed at noon, none an hour later: half as likely, and observed for the last time, at half past.
    hours = [0.0] * 140
    hours[84] = 100.0
    observed = issue_of({**CALM, "thunder_probability_percent": hours}, kind="observation")
    timeline = line_of(SAND, given=Conditions.of([observed]))
    after = [grade(timeline, "thunder", NOON + np.timedelta64(minutes, "m")) for minutes in (55, 60, 65)]
    assert after == ["danger", "danger", "none"]


@pytest.mark.parametrize("event", ["Severe thunderstorm", "Rain"])
def test_a_warning_is_in_force_at_both_its_ends(event: str) -> None:
    warned = warning_of(event, "severe", "2026-06-10T12:00:00Z", "2026-06-10T13:00:00Z")
    timeline = line_of(SAND, {}, warnings=(warned,))
    after = [NOON + np.timedelta64(minutes, "m") for minutes in (-5, 0, 60, 65)]
    assert [grade(timeline, "official_warning", at) for at in after] == ["none", "danger", "danger", "not_assessed"]
    thunder = ["none", "danger", "danger", "none"] if "thunder" in event else ["none"] * 4
    assert [grade(timeline, "thunder", at) for at in after] == thunder


def test_frost_counts_for_48_hours_and_no_longer() -> None:
    air = [5.0] * 140
    air[20] = 0.0
    timeline = line_of(CLIFF, {"air_temperature_c": air})
    # That hour is 7 June, 20:00.
    last = np.datetime64("2026-06-09T20:00")
    after = [grade(timeline, "cliff", last + np.timedelta64(minutes, "m")) for minutes in (-5, 0, 10)]
    assert after == ["caution", "caution", "info"]


def test_rain_of_48_hours_is_all_of_it_and_no_more() -> None:
    # On 7 June 10 mm/h from 20:00 to 21:00, and it comes and goes within an hour on either side: 20 mm from 19:00 on.
    rain = [0.0] * 140
    rain[20] = rain[21] = 10.0
    timeline = line_of(CLIFF, {"rain_mm_per_h": rain})
    first = np.datetime64("2026-06-07T19:00") + np.timedelta64(48, "h")
    after = [grade(timeline, "cliff", first + np.timedelta64(minutes, "m")) for minutes in (-120, 0, 10)]
    assert after == ["caution", "caution", "info"]


@pytest.mark.parametrize(("sea", "expected"), [(2.5 - NEAR, "none"), (2.5, "none"), (2.5 + NEAR, "caution")])
def test_sand_is_moved_by_a_sea_over_two_and_a_half_metres(sea: float, expected: str) -> None:
    mark = SAND | {"way_back": [WAY[0] | {"surveyed": "2026-05-20"}]}
    assert grade(line_of(mark, {"wave_height_m": sea}), "sill_survey") == expected


# A survey of 9 June; from 22:00 to 2:00 the sea falls through the midnight before it, from one height to the other.
@pytest.mark.parametrize(
    ("heights", "expected"),
    [
        ((3.0, 2.0 - NEAR), "none"),
        ((3.0, 2.0), "none"),
        ((3.0, 2.0 + 4.0 * NEAR), "caution"),
        ((3.0, 2.4), "caution"),
        ((2.0, 3.0 + 4.0 * NEAR), "caution"),
    ],
)
def test_a_sea_moves_sand_from_the_day_of_the_survey_on(heights: tuple[float, float], expected: str) -> None:
    sea = [0.3] * 140
    sea[46:51] = np.linspace(*heights, 5).tolist()
    mark = SAND | {"way_back": [WAY[0] | {"surveyed": "2026-06-09"}]}
    assert grade(line_of(mark, {"wave_height_m": sea}), "sill_survey") == expected


def test_sand_has_moved_from_the_instant_of_the_sea_on() -> None:
    sea = [0.3] * 140
    sea[84] = 2.6
    mark = SAND | {"way_back": [WAY[0] | {"surveyed": "2026-05-20"}]}
    timeline = line_of(mark, {"wave_height_m": sea})
    assert [grade(timeline, "sill_survey", NOON + np.timedelta64(k, "m")) for k in (-5, 0)] == ["none", "caution"]


@pytest.mark.parametrize(("minutes", "expected"), [(-5, "none"), (0, "none"), (5, "caution")])
def test_a_survey_is_old_over_three_months(minutes: int, expected: str) -> None:
    # 92 days before midnight.
    mark = SAND | {"way_back": [WAY[0] | {"surveyed": "2026-03-11"}]}
    assert grade(line_of(mark, {}), "sill_survey", MIDNIGHT + np.timedelta64(minutes, "m")) == expected


@pytest.mark.parametrize(("altitude", "dark"), [(-6.0 + NEAR, False), (-6.0, True), (-6.0 - NEAR, True)])
def test_it_is_dark_from_the_end_of_civil_twilight_on(altitude: float, dark: bool) -> None:
    look = look_at(line_of(SAND, {}).sources)
    look.frame.__dict__["sun_altitude"] = np.full(len(look), altitude)
    assert (look.dark == dark).all()


# Caution where the highest wave comes within 0.5 m of the top, danger where it comes to it, by common practice.
@pytest.mark.parametrize("deck", [7.0, 6.3, 5.9, 4.1])
@pytest.mark.parametrize("height", [0.0, 0.7])
@pytest.mark.parametrize(
    ("left", "expected"),
    [
        (0.5 + NEAR, "none"),
        (0.5, "caution"),
        (0.5 - NEAR, "caution"),
        (NEAR, "caution"),
        (0.0, "danger"),
        (-NEAR, "danger"),
    ],
)
def test_a_deck_is_overtopped_from_its_thresholds_on(deck: float, height: float, left: float, expected: str) -> None:
    water = deck - left - height * float(largest_most_probable(WAVES_IN_OUTING))
    limits = DEFAULTS.deck_caution_m, DEFAULTS.deck_danger_m
    codes, _ = overtopped(deck, np.array([water]), np.array([height]), np.array([1]), limits)
    assert GRADES[int(codes[0])] == expected


# Caution where R2 + 0.17 m reaches the peg, danger where the largest + 0.38 m does: by those the danger always comes
# first, so that the caution is a wider one here.
@pytest.mark.parametrize("above", [4.0, 3.7, 0.9])
@pytest.mark.parametrize("height", [0.0, 0.6, 1.3])
def test_the_peg_is_reached_from_its_thresholds_on(above: float, height: float) -> None:
    beach, r2 = plane_ground(0.1, "clean_sand"), float(stockdon(height, 9.0, 0.1))
    largest = r2 * float(largest_over_r2(WAVES_IN_OUTING))

    def code(still: float, caution: float) -> str:
        found = overwash(
            beach, -above / 0.1, np.array([still]), Waves.of([height], 9.0), caution, DEFAULTS.peg_danger_m
        )
        return GRADES[int(found.codes[0])]

    wide = 0.38 + largest + 1.0
    for side, graver in ((-NEAR, False), (0.0, True), (NEAR, True)):
        assert code(above - DEFAULTS.peg_danger_m - largest + side, 0.0) == ("danger" if graver else "none")
        assert code(above - wide - r2 + side, wide) == ("caution" if graver else "none")


# Stockdon et al. 2006: slopes of 0.01 to 0.2. A beach of 1 in 100 or 1 in 5 is told at every stage of the tide.
@pytest.mark.parametrize("plane", [True, False])
@pytest.mark.parametrize(
    ("slope", "told"),
    [
        (0.01 * (1 - NEAR), False),
        (0.01, True),
        (0.01 * (1 + NEAR), True),
        (0.2 * (1 - NEAR), True),
        (0.2, True),
        (0.2 * (1 + NEAR), False),
    ],
)
def test_the_range_of_the_formula_has_both_its_ends(slope: float, told: bool, plane: bool) -> None:
    reach, bed = 10.0 / slope, "clean_sand"
    drawn = Ground(np.array([-reach, reach]), np.array([10.0, -10.0]), (bed, bed))
    still, sea = np.linspace(-2.0, 2.0, 101), Waves.of(np.full(101, 1.0), 8.0)
    ground = plane_ground(slope, bed) if plane else drawn
    assert (np.isfinite(run_up(ground, still, sea).r2) == told).all()
    codes = overwash(ground, -8.0 / slope, still, sea, 0.17, 0.38).codes
    assert {GRADES[int(code)] for code in codes} == {"none" if told else "not_assessed"}


@pytest.mark.parametrize(("over", "expected"), [(-NEAR, "not_assessed"), (0.0, "danger"), (NEAR, "danger")])
def test_still_water_at_the_peg_is_over_it(over: float, expected: str) -> None:
    unknown = Waves.of(np.array([np.nan]))
    found = overwash(plane_ground(0.1, "clean_sand"), -13.0, np.array([1.3 + over]), unknown, 0.17, 0.38)
    assert GRADES[int(found.codes[0])] == expected


def test_water_stands_behind_from_the_lowest_ground_on() -> None:
    trough = Ground(np.array([0.0, 100.0, 130.0, 180.0, 600.0]), np.array([9.0, 3.9, 3.6, 4.4, -3.0]), ("",) * 5)
    levels = 3.6 + np.array([-NEAR, 0.0, NEAR])
    assert trough.water_behind(levels, 180.0).tolist() == [False, True, True]
    assert trough.isolates(levels).tolist() == [False, True, True]
    # The bank itself is dry until the water is as high.
    assert trough.isolates(4.4 + np.array([-NEAR, 0.0, NEAR])).tolist() == [True, False, False]


@pytest.mark.parametrize("sill", [4.0, 3.3, 5.1])
@pytest.mark.parametrize(("side", "covered"), [(-NEAR, False), (0.0, True), (NEAR, True)])
def test_a_sill_is_covered_from_the_level_of_its_margin_on(sill: float, side: float, covered: bool) -> None:
    level = sill - DEFAULTS.sill_margin_m + side
    spans = covered_spans(lambda at: np.full(at.shape, level), sill - DEFAULTS.sill_margin_m, 0, US_PER_HOUR)
    assert spans.tolist() == ([[0, US_PER_HOUR]] if covered else [])


def test_a_way_back_is_cut_off_from_the_last_minutes_to_spare_until_it_is_dry() -> None:
    timeline = line_of(SAND | {"ground_datum": BEACH["ground_datum"], "way_back": [WAY[0]]}, {})
    look, lines = graded_lines(timeline, DEFAULTS, KNOWN)
    codes = next(line.codes for line in lines if line.kind == "cut_off")
    spans = look.covered(DEFAULTS.sill_margin_m, KNOWN, DEFAULTS.sill_margin_m)
    assert len(spans) > 2
    for covered, dry in spans[1:-1].tolist():
        # 200 m of sand at 4 km/h, packing up and what is spared.
        due = covered - round((200.0 / 4000.0 * 60.0 + 15.0 + 10.0) * US_PER_MINUTE)
        late = covered - 10 * US_PER_MINUTE
        near = (look.times_us > due - US_PER_DAY // 24) & (look.times_us < dry + US_PER_DAY // 24)
        grades = [GRADES[int(code)] for code in codes[near]]
        # A danger from the instant looked at before it is too late, so that it is never told too late.
        expected = [
            "danger" if late - 5 * US_PER_MINUTE < at < dry else "info" if at < late else "none"
            for at in look.times_us[near].tolist()
        ]
        assert grades == expected


def test_a_way_of_unknown_length_is_cut_off_while_its_sill_is_covered() -> None:
    mud = WAY[0] | {"bed": "mud"}
    timeline = line_of(SAND | {"ground_datum": BEACH["ground_datum"], "way_back": [mud]}, {})
    look, lines = graded_lines(timeline, DEFAULTS, KNOWN)
    codes = next(line.codes for line in lines if line.kind == "cut_off")
    spans = look.covered(DEFAULTS.sill_margin_m, KNOWN, DEFAULTS.sill_margin_m)
    over = np.zeros(len(look), dtype=bool)
    for covered, dry in spans.tolist():
        over |= (look.times_us > covered - 5 * US_PER_MINUTE) & (look.times_us < dry)
    assert [GRADES[int(code)] for code in codes] == ["danger" if one else "not_assessed" for one in over]


# Lead, sea and wind: "holds to about 1.0 m/s", "little holds over 1.3", "sea over 2 m", "wind over 10 m/s".
@pytest.mark.parametrize(
    ("found", "expected"),
    [
        ([HOLDING[k] for k in holding([1.0 - NEAR, 1.0, 1.0 + NEAR])], ["holds", "holds", "marginal"]),
        ([HOLDING[k] for k in holding([1.3 - NEAR, 1.3, 1.3 + NEAR])], ["marginal", "marginal", "does_not_hold"]),
        ([SURF[k] for k in surf([2.0 - NEAR, 2.0, 2.0 + NEAR], np.ones(3))], ["fishable", "fishable", "unfishable"]),
    ],
)  # fmt: skip
def test_lead_and_surf_change_over_their_thresholds(found: list[str], expected: list[str]) -> None:
    assert found == expected


@pytest.mark.parametrize("whence", [90.0, 180.0, 45.0])
def test_wind_hinders_over_ten_metres_a_second(whence: float) -> None:
    wind = hindering_wind([10.0 - NEAR, 10.0, 10.0 + NEAR], [whence] * 3, 90.0)
    good = np.zeros(3, dtype=np.int8)
    assert [FISHABLE[k] for k in fishable(good, good, good, wind).codes] == ["yes", "yes", "hard"]


def test_the_ground_of_a_mark_keeps_its_trough() -> None:
    timeline = line_of(BEACH | {"peg": {"distance_m": 180.0}}, {})
    assert setting_of(timeline.mark).trough_behind_m == pytest.approx(3.6)
