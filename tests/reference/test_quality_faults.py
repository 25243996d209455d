"""The evaluation of quality_faults in small: real records as they are, a few faults at seeded places, storm surges."""

from __future__ import annotations

import numpy as np
import pytest

from tests.reference.fault_bounds import Clock
from tests.reference.quality_faults import rate
from tests.reference.quality_records import FAULTS, QUIET_M, Fault, alarms, record, surges
from tidecore.quality import check_record
from tidecore.quality.hourly import by_the_hour


@pytest.mark.parametrize("name", ["honolulu", "hillarys", "portland", "everglades", "syowa"])
def test_a_quiet_record_raises_no_alarm(open_data, name):
    of = record(open_data, name)
    assert of.high_passed_m < QUIET_M
    count, flagged = alarms(of)
    assert count == 0
    assert flagged < 0.01


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: f"{fault.kind}-{fault.size:g}")
def test_faults_are_found_in_three_quiet_years(open_data, fault):
    # Of four one may be missed: the evaluation says how many of fifty.
    assert rate(record(open_data, "portland"), fault, 4) >= 0.75


def test_a_large_step_in_a_month_is_found(open_data):
    # It sets what noise is told from so short a record; without a second look only three of ten are found.
    assert rate(record(open_data, "syowa"), Fault("step", 0.3, 2.0, 3.0), 10) >= 0.8


def test_a_storm_surge_is_no_step(open_data):
    assert [steps for _, steps in surges(record(open_data, "honolulu"), np.random.default_rng(4))] == [0, 0, 0, 0]


def test_a_gauge_that_stood_still_for_months(open_data):
    # Kotzebue (ioos_qc, docs/source/examples): 1.0942 m from 13 December 2018 on.
    from tests.reference.test_gauge_records import RECORDS
    from tidecore.gauges import read_gauge

    published = next(one for one in RECORDS if "kotzebue" in one.path)
    checked, report = check_record(read_gauge(open_data / published.path, **published.hints), 66.9)
    stuck = checked["sea_level"].values == 1.0942
    assert stuck.sum() > 3500
    assert (checked["quality"].values[stuck] == 4).mean() > 0.99
    assert max(report.of("flat_line"), key=lambda finding: finding.values).start.startswith("2018-12-13")


def test_the_year_of_honolulu_holds_a_shift_of_its_own(open_data):
    """Tide and shift together tell one of a record without any, of over half of the 15 minutes promised."""
    found = {}
    for name in ("honolulu", "hillarys"):
        of = record(open_data, name)
        clock = Clock(of, by_the_hour(of.times_us, of.levels, of.tide))
        _, deviations, minutes = clock.likeliest(clock.levels)
        found[name] = deviations, abs(minutes)
    assert found["honolulu"][0] > 8.0
    assert found["honolulu"][1] > 7.5
    assert found["hillarys"][0] < 5.0
