"""What the two commands promise: an environment built once and then left alone, and one door that is open."""

from __future__ import annotations

import hashlib
import re
import shutil
import subprocess
import sys

import pytest

from tests.house.tree import ROOT, tracked

OPEN_DOOR = re.compile(r"EBBMARK_AUTH['\"]?\s*[:=]\s*['\"]?open")
FILES = ("pyproject.toml", "requirements.txt", "requirements-dev.txt")
DATA = "tests/reference/run_up_requirements.txt"

#: A Python that writes down what it is asked to install, makes the environment asked for, and is else a real one.
NOTING = """#!/bin/sh
case "$*" in
*"pip --disable-pip-version-check install"*) echo "$*" >>"{log}"; exit {code} ;;
*"-m venv"*) mkdir -p .venv/bin; cp "$0" .venv/bin/python; echo "#!$PWD/.venv/bin/python" >.venv/bin/pip; exit 0 ;;
esac
exec "{python}" "$@"
"""


@pytest.fixture
def checkout(tmp_path):
    """A checkout without an environment, at a path of its own."""
    folder = (tmp_path / "checkout").resolve()
    (folder / ".ci").mkdir(parents=True)
    shutil.copy(ROOT / ".ci" / "environment", folder / ".ci")
    for name in FILES:
        shutil.copy(ROOT / name, folder)
    return folder


@pytest.fixture
def noting(tmp_path):
    return script(tmp_path / "python-noting", NOTING.format(log=tmp_path / "log", code=0, python=sys.executable))


def script(path, text):
    path.write_text(text, encoding="utf-8")
    path.chmod(0o755)
    return path


def build(checkout, kind, python):
    environment = {"PATH": "/usr/bin:/bin", "PYTHON": str(python)}
    return subprocess.run(
        ["sh", ".ci/environment", kind], cwd=checkout, env=environment, capture_output=True, text=True, check=False
    )


def installs(tmp_path) -> list[str]:
    log = tmp_path / "log"
    return log.read_text("utf-8").splitlines() if log.exists() else []


def test_an_environment_is_built_from_hashed_pins_and_stamped(checkout, noting, tmp_path):
    built = build(checkout, "run", noting)
    assert built.returncode == 0, built.stderr
    first, second = installs(tmp_path)
    assert "--require-hashes -r requirements.txt" in first
    assert "--no-deps --no-build-isolation -e ." in second
    content = b"\0".join((checkout / name).read_bytes() for name in ("requirements.txt", "pyproject.toml"))
    assert (checkout / ".venv" / "stamp-run").read_text().strip() == hashlib.sha256(content).hexdigest()


def test_a_second_start_installs_nothing(checkout, noting, tmp_path):
    assert build(checkout, "run", noting).returncode == 0
    before = installs(tmp_path)
    again = build(checkout, "run", "/no/such/python")
    assert (again.returncode, again.stdout, again.stderr) == (0, "", "")
    assert installs(tmp_path) == before


def test_an_environment_for_tests_serves_for_running_and_not_the_other_way_round(checkout, noting, tmp_path):
    for kind, installed in (("run", 2), ("dev", 4), ("run", 4), ("dev", 4)):
        assert build(checkout, kind, noting).returncode == 0
        assert len(installs(tmp_path)) == installed


@pytest.mark.parametrize("name", ["requirements.txt", "pyproject.toml"])
def test_new_pins_are_installed(checkout, noting, tmp_path, name):
    assert build(checkout, "run", noting).returncode == 0
    with (checkout / name).open("a", encoding="utf-8") as file:
        file.write("\n")
    assert build(checkout, "run", noting).returncode == 0
    assert len(installs(tmp_path)) == 4


def test_an_environment_that_was_moved_is_built_anew(checkout, noting, tmp_path):
    assert build(checkout, "run", noting).returncode == 0
    moved = checkout.rename(tmp_path / "moved")
    assert "Building .venv" in build(moved, "run", noting).stdout
    assert str(moved) in (moved / ".venv" / "bin" / "pip").read_text("utf-8")


def test_a_failed_install_leaves_no_stamp(checkout, tmp_path):
    failing = NOTING.format(log=tmp_path / "log", code=1, python=sys.executable)
    built = build(checkout, "run", script(tmp_path / "python-failing", failing))
    assert built.returncode == 1
    assert "needs a package index in reach" in built.stderr
    assert list((checkout / ".venv").glob("stamp*")) == []


def with_data(checkout) -> None:
    (checkout / DATA).parent.mkdir(parents=True)
    shutil.copy(ROOT / DATA, checkout / DATA)


def test_tests_have_their_data_without_what_it_depends_on_and_running_does_without(checkout, noting, tmp_path):
    with_data(checkout)
    assert build(checkout, "run", noting).returncode == 0
    assert not any(DATA in line for line in installs(tmp_path))
    assert build(checkout, "dev", noting).returncode == 0
    assert f"--no-deps --require-hashes -r {DATA}" in installs(tmp_path)[-1]
    before = installs(tmp_path)
    assert build(checkout, "dev", "/no/such/python").returncode == 0
    assert installs(tmp_path) == before
    with (checkout / DATA).open("a", encoding="utf-8") as file:
        file.write("\n")
    assert build(checkout, "dev", noting).returncode == 0
    assert len(installs(tmp_path)) == len(before) + 3


def test_data_out_of_reach_is_said_and_stops_nothing(checkout, tmp_path):
    with_data(checkout)
    noting = NOTING.format(
        log=tmp_path / "log", code='$(case "$*" in *run_up*) echo 1 ;; *) echo 0 ;; esac)', python=sys.executable
    )
    built = build(checkout, "dev", script(tmp_path / "python-offline", noting))
    assert built.returncode == 0
    assert "the tests that need it are skipped" in built.stderr
    assert (checkout / ".venv" / "stamp-dev").exists()


def test_what_is_missing_is_said(checkout, tmp_path):
    none = build(checkout, "run", "/no/such/python")
    assert none.returncode == 1
    assert "needs Python 3.11 or newer" in none.stderr
    assert "/no/such/python" in none.stderr
    bare = f'#!/bin/sh\ncase "$*" in *ensurepip*) exit 1 ;; esac\nexec "{sys.executable}" "$@"\n'
    without = build(checkout, "run", script(tmp_path / "python-bare", bare))
    assert without.returncode == 1
    assert "no venv module" in without.stderr
    old = "#!/bin/sh\nexit 1\n"
    assert "needs Python 3.11 or newer" in build(checkout, "run", script(tmp_path / "python-old", old)).stderr


def doors(names: list[str]) -> list[str]:
    """Files among ``names`` that set keys aside."""
    return [name for name in names if OPEN_DOOR.search((ROOT / name).read_text("utf-8"))]


def test_only_make_run_drops_keys():
    run = [name for name in tracked() if name == "Makefile" or name.startswith(("docker/", ".ci/"))]
    assert doors(run) == ["Makefile"]
    assert re.findall(r"^(\w+):(?:\n\t.*)*?\n\t.*EBBMARK_AUTH=open", (ROOT / "Makefile").read_text("utf-8"), re.M) == [
        "run"
    ]


@pytest.mark.parametrize(
    ("sample", "seen"), [("EBBMARK_AUTH: open", 1), ('ENV EBBMARK_AUTH="open"', 1), ("EBBMARK_AUTH: keys", 0)]
)
def test_an_open_door_is_seen(sample, seen):
    assert len(OPEN_DOOR.findall(sample)) == seen
