"""Factors of the shore over HTTP, of a mark whose ground is known."""

from __future__ import annotations

import pytest

from tests.service.coast import SPAN, example
from tests.tidecore.timeline.test_shore import CUT_OFF

SHORE = ["waterline", "water_behind", "run_up", "dry_margin", "minutes_to_turn_back", "fishable"]


def test_a_mark_with_its_ground_has_the_factors_of_its_shore(coastal):
    client, _ = coastal
    made = client.post("/v1/marks", json={**example("create_mark"), "external_ref": None, **CUT_OFF})
    assert made.status_code == 201, made.text
    found = client.get(f"/v1/marks/{made.json()['id']}/timeline", params={**SPAN, "factor": ["height", *SHORE]}).json()
    columns = found["columns"]
    # Landward of the trough the ground falls from 6 m to 1.5 m over 60 m; its zero is 2 m over the datum.
    landward = [k for k, height in enumerate(columns["height"]) if height - 2.0 > 1.5]
    assert landward
    for k in landward:
        assert columns["waterline"][k] == pytest.approx((6.0 - (columns["height"][k] - 2.0)) / 4.5 * 60.0, abs=0.02)
        assert columns["water_behind"][k] is True
        assert columns["minutes_to_turn_back"][k] < 0.0
    assert {"run_up", "dry_margin", "fishable"} <= set(found["unknown"])
    assert set(columns["run_up"]) == {None}
