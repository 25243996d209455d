"""The page of sessions: valid HTML, and used in a browser on a desk and a phone, light and dark."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import urllib.request

import pytest

from tests.conftest import ROOT
from tests.web.test_contract import HERE, TOOLS

pytestmark = pytest.mark.web

PAGE = ROOT / "service" / "api" / "shore_page"


def browser() -> str | None:
    """Chromium, as Debian's package of that name installs it, or as EBBMARK_CHROMIUM says."""
    return os.environ.get("EBBMARK_CHROMIUM") or shutil.which("chromium")


def node(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(TOOLS / "bin" / "node"), *arguments], cwd=ROOT, capture_output=True, text=True, timeout=280, check=False
    )


def test_the_page_is_valid_html():
    checker = str(TOOLS / "node_modules" / "html-validate" / "bin" / "html-validate.mjs")
    done = node(checker, "--config", str(HERE / "html-validate.json"), str(PAGE / "index.html"))
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.fixture(scope="module")
def seen(demo_server, tmp_path_factory):
    found = browser()
    if found is None:
        pytest.skip("there is no Chromium here (the package chromium, or EBBMARK_CHROMIUM)")
    pictures = tmp_path_factory.mktemp("pictures")
    done = node(str(HERE / "page.mjs"), demo_server.address, found, str(TOOLS), str(pictures))
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert [one["name"] for one in told] == ["desktop-light", "desktop-dark", "phone-light", "phone-dark"]
    assert all((pictures / f"{one['name']}.png").stat().st_size > 10_000 for one in told)
    return demo_server.address, told


def test_it_shows_sessions_of_the_marks_there_are_and_why(seen):
    address, told = seen
    with urllib.request.urlopen(f"{address}/v1/marks?limit=200", timeout=30) as answer:
        marks = [one["name"] for one in json.load(answer)["items"]]
    for one in told:
        assert one["marks"] == marks
        assert one["listed"] >= 2
        assert "sessions in 14 days, the best first" in one["said"]
        assert one["when"].startswith("Arrive ")
        assert one["hazards"] > 0
        assert one["reasons"] > 0
        assert ", held down most by the " in one["verdicts"], "in the words of the trade"
        assert one["repeated"] == [], "what is said of hazards is said once"


def test_the_words_of_the_curve_can_be_read_on_a_phone_too(seen):
    for one in seen[1]:
        assert one["letters"] >= 12.0, (one["name"], one["letters"])


def test_it_asks_its_own_service_and_nobody_else(seen):
    address, told = seen
    for one in told:
        assert one["asked"] == [address]
        assert one["wrong"] == []


def test_a_checker_of_accessibility_finds_nothing_and_nothing_hangs_over_the_edge(seen):
    for one in seen[1]:
        assert one["violations"] == [], one["name"]
        assert one["wide"] <= 0, one["name"]
