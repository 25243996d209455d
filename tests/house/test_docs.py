"""What a user can set, call or meet is written down, and no link of the documents leads nowhere."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import typer

import tidecore
from service.api.problem_types import PROBLEMS
from service.cli import app
from service.settings import Settings
from tests.house.examples import GUIDES
from tests.house.tree import PACKAGES, ROOT, tracked

LINK = re.compile(r"(?<!\!)\[[^\]]*\]\(([^)\s]+)\)|^\[[^\]]+\]:\s+(\S+)", re.M)
FENCED = re.compile(r"^```.*?^```", re.M | re.S)
HEADING = re.compile(r"^#{1,6} +(.+?) *$", re.M)


def documents() -> str:
    """What users and contributors read, together."""
    return "\n".join((ROOT / name).read_text("utf-8") for name in (*GUIDES, "DEVELOPERS.md"))


def unmentioned(names: list[str], text: str) -> list[str]:
    """Names that stand nowhere in ``text`` as words of their own."""
    return [name for name in names if not re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", text)]


def command_lines(command: Any, line: str) -> list[str]:
    """Every command below ``command``, as it is typed."""
    inner = getattr(command, "commands", None)
    if inner is None:
        return [line]
    return [typed for name, below in inner.items() for typed in command_lines(below, f"{line} {name}")]


def anchors(text: str) -> set[str]:
    """The anchors of the headings of a document, as they are made from their words."""
    words = (re.sub(r"[`*]|\[|\]\([^)]*\)", "", head) for head in HEADING.findall(FENCED.sub("", text)))
    return {re.sub(r"[^\w\- ]", "", word.lower()).replace(" ", "-") for word in words}


def dead_links(document: Path) -> list[str]:
    """Relative links of a document to files or headings that are not there."""
    text = document.read_text("utf-8")
    dead = []
    for inline, reference in LINK.findall(FENCED.sub("", text)):
        link = inline or reference
        if re.match(r"[a-z]+:", link):
            continue
        name, _, anchor = link.partition("#")
        target = document.parent / name if name else document
        if not target.exists() or (anchor and anchor not in anchors(target.read_text("utf-8"))):
            dead.append(link)
    return dead


def section(text: str, heading: str) -> str:
    """What stands below a heading of the second level, up to the next."""
    return text.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]


def rooms() -> list[str]:
    """The modules and packages directly inside both packages, as the map writes them."""
    inside = [path for package in PACKAGES for path in sorted((ROOT / package).iterdir())]
    return [
        path.name + "/" * path.is_dir()
        for path in inside
        if not path.name.startswith("_") and (path.suffix == ".py" or (path / "__init__.py").exists())
    ]


def off_the_map(names: list[str], text: str) -> list[str]:
    """Rooms that no line of the map of rooms names."""
    return [name for name in names if not re.search(rf"[`/]{re.escape(name)}`", section(text, "Map of rooms"))]


def test_every_room_is_on_the_map_and_in_the_layers():
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    assert off_the_map(rooms(), text) == []
    assert unmentioned([name.removesuffix("/").removesuffix(".py") for name in rooms()], section(text, "Layers")) == []


def test_a_room_off_the_map_is_seen():
    text = "\n# Ebb\n## Map of rooms\n`tidecore/sky/`, `units.py`\n## Layers\n`attic/`\n"
    assert off_the_map(["sky/", "units.py", "attic/"], text) == ["attic/"]


def test_every_setting_is_written_down():
    names = [f"EBBMARK_{name.upper()}" for name in Settings.model_fields]
    assert unmentioned(names, documents()) == []


def test_every_type_of_problem_is_written_down():
    assert unmentioned(sorted(PROBLEMS), documents()) == []


def test_every_command_is_written_down():
    commands = command_lines(typer.main.get_command(app), "ebbmark")
    assert len(commands) > 1
    assert unmentioned(commands, documents()) == []


def test_every_public_name_is_written_down():
    assert unmentioned(sorted(tidecore.__all__), documents()) == []


@pytest.mark.parametrize("name", [name for name in tracked() if name.endswith(".md")])
def test_every_link_leads_somewhere(name):
    assert dead_links(ROOT / name) == []


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        ("set `EBBMARK_PORT` to", []),
        ("set EBBMARK_PORT_RANGE to", ["EBBMARK_PORT"]),
        ("", ["EBBMARK_PORT"]),
    ],
)
def test_a_name_not_written_down_is_seen(text, missing):
    assert unmentioned(["EBBMARK_PORT"], text) == missing


def test_commands_are_spelled_as_they_are_typed():
    sample = typer.Typer()
    below = typer.Typer()
    sample.add_typer(below, name="db")
    sample.command()(lambda: None)
    below.command("upgrade")(lambda: None)
    assert command_lines(typer.main.get_command(sample), "ebb")[-1] == "ebb db upgrade"


def test_a_dead_link_is_seen(tmp_path):
    document = tmp_path / "PAGE.md"
    document.write_text(
        "# The tide's `rise`\n[a](PAGE.md) [b](#the-tides-rise) [c](https://example.org)\n"
        "[d](gone.md) [e](#ebb) [f](PAGE.md#ebb)\n```\n[g](in-code.md)\n```\n",
        encoding="utf-8",
    )
    assert dead_links(document) == ["gone.md", "#ebb", "PAGE.md#ebb"]
