"""The month sheet: valid HTML, one page of A4 at its fullest, and looked at on a desk and a phone, light and dark."""

from __future__ import annotations

import json
import time
import urllib.request
from typing import Any

import pytest

from tests.web.test_contract import HERE, TOOLS
from tests.web.test_page import browser, node

pytestmark = pytest.mark.web

#: A month with up to three sessions a day, some of them dangerous: the fullest sheets that the demo coast gives.
FULL = {"month": "2026-10", "time_zone": "WET", "diverse": False, "include_dangerous": True, "least_h": 1.0}


def ask(address: str, path: str, body: Any = None) -> Any:
    content = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(f"{address}{path}", content, {"content-type": "application/json"})
    with urllib.request.urlopen(request, timeout=60) as answer:
        return json.load(answer)


@pytest.fixture(scope="module")
def sheets(demo_server):
    """Addresses of the sheets of a full plan, one a mark, those with the most crowded days first."""
    address = demo_server.address
    plan = ask(address, "/v1/plans", FULL)
    ends = time.monotonic() + 120.0
    while plan["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the plan is stuck"
        time.sleep(0.2)
        plan = ask(address, f"/v1/plans/{plan['id']}")
    place = f"/v1/plans/{plan['id']}/marks"
    days: dict[str, int] = {}
    for one in ask(address, place)["items"]:
        found = ask(address, f"{place}/{one['mark_id']}")["sessions"]
        days[f"{address}{place}/{one['mark_id']}/sheet"] = len({session["date_local"] for session in found})
    assert min(days.values()) < 17, "no sheet is crowded"
    return sorted(days, key=days.__getitem__)


def test_sheets_are_valid_html(sheets, tmp_path):
    checker = str(TOOLS / "node_modules" / "html-validate" / "bin" / "html-validate.mjs")
    written = []
    for number, address in enumerate(sheets):
        with urllib.request.urlopen(address, timeout=60) as answer:
            written.append(tmp_path / f"{number}.html")
            written[-1].write_bytes(answer.read())
    done = node(checker, "--config", str(HERE / "html-validate.json"), *map(str, written))
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_sheet_prints_on_one_page_and_fits_a_phone(sheets, tmp_path):
    found = browser()
    if found is None:
        pytest.skip("there is no Chromium here (the package chromium, or EBBMARK_CHROMIUM)")
    done = node(str(HERE / "sheet.mjs"), found, str(TOOLS), str(tmp_path), *sheets)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["pages"] == [1] * len(sheets)
    seen = told["seen"]
    assert [one["name"] for one in seen] == ["desktop-light", "desktop-dark", "phone-light", "phone-dark"]
    for one in seen:
        # The policy of the answer refuses nothing, and nothing else is asked for.
        assert (one["wrong"], one["asked"]) == ([], [sheets[0]])
        assert one["wide"] <= 0, one["name"]
        assert one["violations"] == [], one["name"]
    assert [one["ground"] for one in seen] == [seen[0]["ground"], seen[1]["ground"]] * 2
    assert seen[0]["ground"] != seen[1]["ground"]
    assert all((tmp_path / f"{one['name']}.png").stat().st_size > 10_000 for one in seen)
