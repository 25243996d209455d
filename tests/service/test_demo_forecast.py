"""The invented forecast of the demo coast: of the days to come whenever it is loaded, and anew once it has ended."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from service.cli.demo_conditions import load_forecast
from service.errors import DocumentInvalid
from service.security import LOCAL_ACCOUNT, LOCAL_CALLER
from tests.conftest import ROOT
from tidecore.errors import InvalidInput

PATH = ROOT / "demo_stations" / "conditions" / "tarrowick_bay.json"
FORECAST = json.loads(PATH.read_text())
EVENING = datetime(2026, 3, 10, 19, 30, tzinfo=UTC)


def load(house, now, document=None):
    context = replace(house.context, clock=lambda: now)
    return load_forecast(context, LOCAL_CALLER, PATH, document or FORECAST)


def kept(house, area):
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        return unit.conditions.at(None, area)


def test_it_begins_on_the_day_it_is_loaded_and_comes_again_when_it_has_ended(house):
    areas = FORECAST["areas"]
    assert load(house, EVENING) == len(areas)
    midnight = datetime(2026, 3, 10, tzinfo=UTC)
    for area in areas:
        (issue,) = kept(house, area)
        assert (issue.issued_at, issue.starts_at) == (midnight, midnight)
        assert issue.ends_at == midnight + timedelta(hours=FORECAST["hours"][-1])
        assert "nvented" in issue.source
    assert load(house, EVENING) == 0
    assert load(house, EVENING + timedelta(days=3)) == 0
    assert load(house, midnight + timedelta(hours=FORECAST["hours"][-1])) == len(areas)
    for area in areas:
        assert [one.issued_at for one in kept(house, area)] == [midnight, midnight + timedelta(days=7)]


def test_it_reaches_a_week_ahead_without_a_gap():
    hours = FORECAST["hours"]
    assert hours[0] == 0
    assert hours[-1] >= 7 * 24
    assert max(later - earlier for earlier, later in pairwise(hours)) <= 3


def test_every_area_is_one_that_marks_of_the_coast_name():
    marks = [json.loads(path.read_text()) for path in PATH.parents[1].glob("marks/*.json")]
    named = {mark.get("conditions_area") for mark in marks}
    assert set(FORECAST["areas"]) <= named
    # Some have none, so that the demo shows what that looks like.
    assert named - set(FORECAST["areas"]) - {None}


def test_a_forecast_with_dates_of_its_own_is_refused(house):
    dated = {**FORECAST, "issue": {**FORECAST["issue"], "issued_at": "2026-01-01T00:00:00Z"}}
    with pytest.raises(DocumentInvalid, match="issued_at"):
        load(house, EVENING, dated)
    with pytest.raises(InvalidInput, match="hours"):
        load(house, EVENING, {**FORECAST, "hours": [-1.0]})
