"""Faults put into an invented record are found, where and as large as they are; what is no fault is not."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
import xarray

import tidecore
from tidecore.errors import InvalidInput, InvalidPosition, UnfitNeighbour, UnknownName
from tidecore.harmonics import Harmonics
from tidecore.quality import check_record
from tidecore.timebase import US_PER_DAY, US_PER_HOUR

START = np.datetime64("2021-03-01", "us").astype(np.int64)
TIDE = {
    "M2": (1.2, 140.0), "S2": (0.4, 185.0), "N2": (0.25, 120.0), "K2": (0.11, 184.0), "K1": (0.15, 40.0),
    "P1": (0.05, 39.0), "O1": (0.1, 350.0), "M4": (0.06, 200.0),
}  # fmt: skip


def tide(names=TIDE) -> Harmonics:
    amplitudes, phases = (np.array(of) for of in zip(*names.values(), strict=True))
    return Harmonics(tuple(names), amplitudes, phases, 50.0, 3.0)


def weather(count: int, seed: int = 3) -> np.ndarray:
    """Red noise of 6 cm over four days, and 6 mm of white noise on it."""
    rng = np.random.default_rng(seed)
    kept = np.exp(-1.0 / 96.0)
    shocks = rng.normal(0.0, 0.06 * np.sqrt(1.0 - kept**2), count)
    red = np.empty(count)
    red[0] = 0.0
    for hour in range(1, count):
        red[hour] = kept * red[hour - 1] + shocks[hour]
    return red + rng.normal(0.0, 0.006, count)


def times(days: int = 240) -> np.ndarray:
    return START + np.arange(days * 24) * US_PER_HOUR


def levels(at: np.ndarray, late_h: np.ndarray | float = 0.0) -> np.ndarray:
    """Levels to the millimetre as a clock ahead by ``late_h`` has them."""
    back = at - np.rint(np.broadcast_to(late_h, at.shape) * US_PER_HOUR).astype(np.int64)
    return np.round(tide().heights(back.view("datetime64[us]")) + weather(len(at)), 3)


def record(values: np.ndarray, at: np.ndarray | None = None, **attributes: object) -> xarray.Dataset:
    at = times(len(values) // 24) if at is None else at
    moments = at.view("datetime64[us]").astype("datetime64[ns]")
    return xarray.Dataset({"sea_level": ("time", values)}, {"time": moments}, {"latitude": 50.0, **attributes})


def diagnosed(model: tidecore.TideModel) -> tidecore.FitDiagnostics:
    assert model.diagnostics is not None
    return model.diagnostics


def checked_quality(model: tidecore.TideModel) -> Mapping[str, Any]:
    quality = diagnosed(model).quality
    assert quality is not None
    return quality


def instant(text: str) -> int:
    return int(np.datetime64(text.removesuffix("Z"), "us").astype(np.int64))


SERIES = ("datum_step", "clock_shift", "clock_drift", "zone_change", "zone")


def test_a_record_without_fault():
    given = record(levels(times()))
    checked, report = check_record(given)
    assert not any(report.found.values())
    assert report.left_out == 0
    assert (checked["quality"].values == 1).all()
    assert checked["sea_level"].identical(given["sea_level"])
    assert "quality" not in given
    assert report.noise_m is not None
    assert 0.005 < report.noise_m < 0.02
    assert report.not_evaluated == {"zone": "no neighbour is named"}


@pytest.mark.parametrize("size", [0.12, -0.2])
def test_a_datum_step(size):
    values = levels(times())
    values[3000:] += size
    checked, report = check_record(record(values))
    (step,) = report.of("datum_step")
    assert abs(instant(step.start) - times()[3000]) <= US_PER_HOUR
    assert step.size == pytest.approx(size, abs=0.04)
    assert (step.unit, step.handling, step.values) == ("m", "kept", len(values) - 3000)
    assert sum(report.found[test] for test in SERIES) == 1
    assert (checked["quality"].values == 1).all()


@pytest.mark.parametrize(("minutes", "test"), [(15.0, "clock_shift"), (-20.0, "clock_shift"), (60.0, "zone_change")])
def test_a_clock_that_is_moved(minutes, test):
    late = np.where(np.arange(240 * 24) >= 2500, minutes / 60.0, 0.0)
    _, report = check_record(record(levels(times(), late)))
    (shift,) = report.of(test)
    assert abs(instant(shift.start) - times()[2500]) <= (5 if test == "clock_shift" else 1) * US_PER_DAY
    assert shift.size == pytest.approx(minutes, abs=4.0)
    assert (shift.unit, shift.handling) == ("min", "kept")
    assert sum(report.found[test] for test in SERIES) == 1


def test_summer_time_in_the_stamps_is_two_changes():
    late = np.where((np.arange(240 * 24) >= 1500) & (np.arange(240 * 24) < 4000), 1.0, 0.0)
    _, report = check_record(record(levels(times(), late)))
    assert [round(finding.size / 30.0) for finding in report.of("zone_change")] == [2, -2]
    assert sum(report.found[test] for test in SERIES) == 2


def test_a_clock_that_drifts():
    late = np.clip((np.arange(240 * 24) - 1000.0) / 3000.0, 0.0, 1.0) * 0.75
    _, report = check_record(record(levels(times(), late)))
    (drift,) = report.of("clock_drift")
    assert drift.size == pytest.approx(45.0, abs=6.0)
    assert abs(instant(drift.start) - times()[1000]) < 12 * US_PER_DAY
    assert abs(instant(drift.end) - times()[4000]) < 12 * US_PER_DAY
    assert report.found["clock_shift"] == 0


@pytest.mark.parametrize("hours", [5, 30])
def test_a_gauge_that_stands_still(hours):
    values = levels(times())
    values[700 : 700 + hours] = values[700]
    checked, report = check_record(record(values))
    (still,) = report.of("flat_line")
    assert (still.values, still.handling) == (hours, "left_out")
    assert (checked["quality"].values[700 : 700 + hours] == 4).all()
    assert report.left_out == hours


def test_spikes():
    values = levels(times())
    places = [200, 1201, 1202, 5000, 5759]
    values[places] += [0.4, -0.5, -0.5, 2.0, -0.6]
    checked, report = check_record(record(values))
    assert np.flatnonzero(checked["quality"].values == 4).tolist() == places
    assert report.flags["spike"]["fail"] == len(places)
    assert report.found["spike"] == 4


def test_levels_beyond_what_the_gauge_measures():
    values = levels(times())
    checked, report = check_record(record(values), level_range=(1.3, 9.0))
    low = int((values < 1.3).sum())
    assert report.flags["range"]["fail"] == low > 0
    assert (checked["quality"].values[values < 1.3] == 4).all()


def test_a_level_far_from_any_tide():
    values = levels(times())
    values[300:340] += 6.0
    checked, report = check_record(record(values))
    assert (checked["quality"].values[300:340] == 4).all()
    assert report.flags["range"]["fail"] == 40


@pytest.mark.parametrize("height", [0.3, 1.0, -0.8])
@pytest.mark.parametrize("days", [1.0, 3.0])
def test_a_storm_surge_is_no_step(height, days):
    values = levels(times())
    since = (np.arange(len(values)) - 3000) / (24.0 * days)
    sine = np.where((since > 0) & (since < 1), np.sin(np.pi * since) ** 2, 0.0)
    # Up in a fifth of the time, down exponentially.
    steep = np.where(since < 0.2, np.sin(np.pi / 2 * np.clip(since / 0.2, 0, 1)) ** 2, np.exp(-(since - 0.2) / 0.3))
    for form in (sine, np.where(since > 0, steep, 0.0)):
        _, report = check_record(record(values + height * form))
        assert report.found["datum_step"] == 0
        assert report.left_out <= 0.01 * len(values)


def test_gaps_are_counted_and_nothing_is_filled_in():
    kept = np.ones(240 * 24, dtype=bool)
    kept[1000:1060] = False
    at = times()[kept]
    checked, report = check_record(record(levels(times())[kept], at))
    (gap,) = report.of("gap")
    assert (gap.size, gap.unit, gap.values) == (61.0, "h", 60)
    assert len(checked["time"]) == kept.sum()
    assert not any(report.found[test] for test in SERIES)


def test_flags_that_stand_already_are_left():
    values = levels(times())
    given = record(values)
    quality = np.full(len(values), 2, dtype=np.uint8)
    quality[10:20], quality[20:25] = 4, 9
    given["quality"] = ("time", quality)
    checked, _ = check_record(given)
    assert (checked["quality"].values[10:25] == quality[10:25]).all()
    assert (checked["quality"].values[25:] == 1).all()


# --- zone against a neighbour -----------------------------------------------------------------------------------------


def neighbour(names=TIDE, later_h: float = 0.0) -> tidecore.TideModel:
    model = tidecore.TideModel.from_constituents(names, latitude=50.1, convention="utide", station="Invented Point")
    speeds = dict(zip(model.harmonics.names, model.harmonics.speeds_deg_per_hour, strict=True))
    moved = {name: (size, (phase + later_h * speeds[name]) % 360.0) for name, (size, phase) in names.items()}
    return tidecore.TideModel.from_constituents(moved, latitude=50.1, convention="utide", station="Invented Point")


@pytest.mark.parametrize("hours", [1.0, -2.0, 10.0])
def test_a_record_in_the_wrong_zone(hours):
    given = record(levels(times(60), hours))
    _, report = check_record(given, neighbour=neighbour(later_h=0.2))
    (zone,) = report.of("zone")
    assert zone.size / 60.0 == pytest.approx(hours - 0.2, abs=0.1)
    assert zone.confidence == 0.9


def test_a_tide_that_takes_its_time_is_in_the_right_zone():
    _, report = check_record(record(levels(times(60))), neighbour=neighbour(later_h=0.5))
    assert report.found["zone"] == 0
    assert "zone" not in report.not_evaluated


@pytest.mark.parametrize(
    "names", [{"K1": (0.4, 10.0), "O1": (0.3, 20.0), "M2": (0.05, 30.0)}, {"M4": (0.4, 10.0)}], ids=["diurnal", "none"]
)
def test_a_neighbour_of_another_type_is_refused(names):
    with pytest.raises(UnfitNeighbour, match="Invented Point"):
        check_record(record(levels(times(60))), neighbour=neighbour(names))


# --- what cannot be checked -------------------------------------------------------------------------------------------


def test_a_short_record_says_what_is_not_evaluated():
    values = levels(times(8))
    values[50:60] = values[50]
    checked, report = check_record(record(values), neighbour=neighbour())
    assert report.found["flat_line"] == 1
    assert (checked["quality"].values[50:60] == 4).all()
    assert set(report.not_evaluated) == {"range", "spike", "rate_of_change", *SERIES}
    assert "8.0 days" in report.not_evaluated["spike"]


def test_a_record_of_high_and_low_waters_has_no_hours():
    at = times(300)[::6]
    _, report = check_record(record(levels(times(300))[::6], at))
    assert report.not_evaluated["datum_step"] == "fewer than half of the hours have a value"


@pytest.mark.parametrize("count", [0, 1, 3])
def test_hardly_any_values(count):
    _, report = check_record(record(np.full(count, 1.5), times(1)[:count]))
    assert not any(report.found.values())


def test_what_is_no_record_is_refused():
    with pytest.raises(InvalidInput, match="sea_level"):
        check_record(xarray.Dataset(), 50.0)
    with pytest.raises(InvalidInput, match="ascend"):
        check_record(record(levels(times(20))).isel(time=slice(None, None, -1)))
    with pytest.raises(InvalidPosition):
        check_record(record(levels(times(20))), latitude=95.0)


# --- in a fit ---------------------------------------------------------------------------------------------------------


def test_what_fails_enters_no_fit_and_the_report_is_with_the_model(tmp_path):
    values = levels(times(60))
    values[500] += 1.5
    values[800:830] = values[800]
    names = ["M2", "S2", "N2", "K1", "O1", "M4"]
    model = tidecore.fit(record(values), constituents=names)
    assert diagnosed(model).missing == 31
    assert checked_quality(model)["left_out"] == 31
    assert checked_quality(model)["found"]["spike"] == 1
    assert json.loads(json.dumps(checked_quality(model))) == checked_quality(model)
    dropped = record(values)
    dropped["sea_level"].values[[500, *range(800, 830)]] = np.nan
    same = tidecore.fit(dropped, constituents=names, quality="off")
    assert same.constituents == model.constituents
    assert diagnosed(same).quality is None
    model.save(tmp_path / "model.nc")
    assert tidecore.TideModel.open(tmp_path / "model.nc").diagnostics == model.diagnostics


def test_faults_of_the_clock_are_said_and_nothing_is_corrected():
    late = np.where(np.arange(60 * 24) >= 700, 1.0, 0.0)
    given = record(levels(times(60), late))
    names = ["M2", "S2", "N2", "K1", "O1", "M4"]
    checked, unchecked = (tidecore.fit(given, constituents=names, quality=how) for how in ("check", "off"))
    # Some values at the jump itself stand out; all others enter at the times given.
    assert diagnosed(checked).values >= diagnosed(unchecked).values - 5
    for name, (amplitude, phase) in unchecked.constituents.items():
        assert checked.constituents[name] == pytest.approx((amplitude, phase), abs=1.5), name
    assert checked_quality(checked)["found"]["zone_change"] == 1
    with pytest.raises(UnknownName, match="quality option"):
        tidecore.fit(given, quality="mend")
