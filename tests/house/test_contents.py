"""What lies in the repository: an agreed top level, one version, and nothing of the place it was made in."""

from __future__ import annotations

import re
import tomllib

import pytest

import tidecore
from tests.house.tree import PACKAGES, ROOT, python_files, relative, tracked

TOP_LEVEL = frozenset(
    {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "Makefile", "LICENSE", "CHANGELOG.md",
        "requirements.txt", "requirements-dev.txt",
        "service", "tidecore", "tests", "openapi", "docker", "demo_stations",
    }
)  # fmt: skip

#: One letter of each stands in brackets, so that this file holds none of what it looks for.
FOREIGN = {
    "a folder of the machine it was made on": r"/wor[k]/|/far[m]/|\.librar[y]/|/roo[t]/|/hom[e]/[a-z]|/tmp/e[b]\b",
    "a host of a package registry": r"pyp[i]\.|pythonhoste[d]|registry\.npmj[s]|deb\.debia[n]",
    "a paper that is no part of the project": (
        r"\b(desig[n]|tid[e]|trad[e]|finding[s]|stac[k]|styl[e]|check-value[s]|interface[s])\.md\b"
        r"|seed (documen[t]|fil[e])|transcrip[t]|developer sessio[n]"
    ),
}
#: Zones are called by cities; what is invented keeps to zones that are called by none.
CITY = re.compile(r"\b(Africa|America|Antarctica|Asia|Atlantic|Australia|Europe|Indian|Pacific)/[A-Z]")
UNFINISHED = re.compile(r"NotImplementedErro[r]|TOD[O]|FIXM[E]|XX[X]")
PINNED = re.compile(r"^([a-z0-9._-]+)==([^ \\]+)( ;[^\\]*)? \\$")


def foreign(text: str) -> list[str]:
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        found += [f"line {number}: {what}" for what, pattern in FOREIGN.items() if re.search(pattern, line, re.I)]
    return found


def text_of(name: str) -> str:
    return (ROOT / name).read_bytes().decode("utf-8", errors="replace")


def unhashed(pins: str) -> list[str]:
    """Lines of a pins file that are neither an exact pin followed by a hash nor a hash."""
    lines = pins.splitlines()
    following = [*lines[1:], ""]
    return [
        line
        for line, after in zip(lines, following, strict=True)
        if not (PINNED.match(line) and after.startswith("    --hash=sha256:"))
        and not re.fullmatch(r"    --hash=sha256:[0-9a-f]{64}( \\)?", line)
    ]


def pins_of(name: str) -> set[str]:
    return {line for line in text_of(name).splitlines() if PINNED.match(line)}


def version_assignments(text: str) -> int:
    return len(re.findall(r"""^__version__\b.*=\s*["']\d""", text, re.M))


def test_nothing_tells_of_the_place_it_was_made_in():
    found = {name: foreign(text_of(name)) + foreign(name) for name in tracked()}
    assert {name: lines for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize(
    "sample",
    [
        "see /wo" + "rk/main",
        "index = https://py" + "pi.org/simple",
        "url = https://files.python" + "hosted.org/x.whl",
        "as des" + "ign.md says",
        "the seed docu" + "ment",
    ],
)
def test_a_trace_of_the_place_is_seen(sample):
    assert len(foreign(sample)) == 1


def test_examples_are_of_no_real_place():
    """Demo data, guides, recipes and the contract with its examples; what tells the library of zones is none."""
    shown = [name for name in tracked() if name.startswith(("README", "demo_stations/", "openapi/", "service/api/"))]
    assert [name for name in shown if CITY.search(text_of(name))] == []
    assert CITY.search('"time_zone": "Europe/' + 'Lisbon"')


def test_the_top_level_is_as_agreed():
    top = {name.partition("/")[0] for name in tracked()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_nothing_is_left_unfinished():
    found = [relative(path) for path in python_files(*PACKAGES, "tests") if UNFINISHED.search(path.read_text("utf-8"))]
    assert found == []


@pytest.mark.parametrize("sample", ["# TO" + "DO: later", "raise NotImplemented" + "Error"])
def test_something_unfinished_is_seen(sample):
    assert UNFINISHED.search(sample)


def test_the_version_is_written_once():
    project = tomllib.loads(text_of("pyproject.toml"))
    assert "version" not in project["project"]
    assert project["tool"]["setuptools"]["dynamic"]["version"] == {"attr": "tidecore._version.__version__"}
    written = [relative(p) for p in python_files(*PACKAGES) if version_assignments(p.read_text("utf-8"))]
    assert written == ["tidecore/_version.py"]


def test_a_second_version_is_seen():
    assert version_assignments('"""Doc."""\n\n__version__ = "0.2.0"\n') == 1


def test_the_changelog_knows_the_version():
    heads = re.findall(r"^## (.+)$", text_of("CHANGELOG.md"), re.M)
    assert heads[0] == "Unreleased"
    released = [head for head in heads[1:] if head.startswith(tidecore.__version__ + " ")]
    assert len(heads) == 1 or len(released) == 1


@pytest.mark.parametrize(
    "name", ["requirements.txt", "requirements-dev.txt", "tests/reference/run_up_requirements.txt"]
)
def test_every_pin_is_exact_and_hashed(name):
    assert unhashed(text_of(name)) == []


@pytest.mark.parametrize("sample", ["numpy>=2\n", "numpy==2.4.6\n", "numpy==2.4.6 \\\n", "--index-url https://x\n"])
def test_a_loose_pin_is_seen(sample):
    assert unhashed(sample)


def test_what_runs_is_what_is_tested():
    assert pins_of("requirements.txt") - pins_of("requirements-dev.txt") == set()
