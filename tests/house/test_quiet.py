"""What the packages must not do behind a caller's back: print, swallow errors, read the clock or the environment."""

from __future__ import annotations

import ast

import pytest

from tests.house.tree import PACKAGES, parsed, python_files, relative

#: Names by which the clock, the environment or chance would come into tidecore.
CLOCK_AND_ENVIRONMENT = frozenset(
    {
        "time.time", "time.time_ns", "time.monotonic", "time.perf_counter", "time.localtime", "time.gmtime",
        "datetime.now", "datetime.utcnow", "datetime.today", "date.today",
        "datetime.datetime.now", "datetime.datetime.utcnow", "datetime.datetime.today", "datetime.date.today",
        "os.environ", "os.getenv", "os.environb", "os.putenv",
    }
)  # fmt: skip


def dotted(node: ast.AST) -> str:
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return ""


def prints(tree: ast.AST) -> list[int]:
    return [node.lineno for node in ast.walk(tree) if isinstance(node, ast.Call) and dotted(node.func) == "print"]


def swallowed(tree: ast.AST) -> list[int]:
    """Lines of handlers that catch everything, or that catch and do nothing."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ExceptHandler):
            bare = node.type is None
            empty = all(isinstance(line, ast.Pass) for line in node.body)
            if bare or empty:
                found.append(node.lineno)
    return found


def clock_or_environment(tree: ast.AST) -> list[str]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and dotted(node) in CLOCK_AND_ENVIRONMENT:
            found.append(f"line {node.lineno}: {dotted(node)}")
        if isinstance(node, ast.ImportFrom) and node.module in {"os", "time"}:
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found += [f"line {node.lineno}: {name}" for name in sorted(names & CLOCK_AND_ENVIRONMENT)]
        if isinstance(node, ast.Call) and dotted(node.func).endswith("datetime64"):
            said = [argument.value for argument in node.args if isinstance(argument, ast.Constant)]
            found += [f"line {node.lineno}: datetime64({word!r})" for word in said if word in {"now", "today"}]
    return found


def test_packages_print_nothing():
    assert {relative(path): prints(parsed(path)) for path in python_files(*PACKAGES) if prints(parsed(path))} == {}


def test_no_error_is_swallowed():
    found = {relative(path): swallowed(parsed(path)) for path in python_files(*PACKAGES)}
    assert {name: lines for name, lines in found.items() if lines} == {}


def test_tidecore_reads_no_clock_and_no_environment():
    found = {relative(path): clock_or_environment(parsed(path)) for path in python_files("tidecore")}
    assert {name: lines for name, lines in found.items() if lines} == {}


def test_a_print_is_seen():
    assert prints(ast.parse("def tide():\n    print('high')\n")) == [2]


@pytest.mark.parametrize(
    ("sample", "seen"),
    [
        ("try:\n    x = 1\nexcept:\n    raise\n", [3]),
        ("try:\n    x = 1\nexcept ValueError:\n    pass\n", [3]),
        ("try:\n    x = 1\nexcept ValueError:\n    x = 2\n", []),
    ],
)
def test_a_swallowed_error_is_seen(sample, seen):
    assert swallowed(ast.parse(sample)) == seen


@pytest.mark.parametrize(
    "sample",
    [
        "import os\nx = os.environ['TZ']\n",
        "from os import getenv\n",
        "import datetime\nx = datetime.datetime.now(datetime.UTC)\n",
        "from datetime import date\nx = date.today()\n",
        "import time\nx = time.time()\n",
        "import numpy as np\nx = np.datetime64('now')\n",
    ],
)
def test_a_clock_or_an_environment_is_seen(sample):
    assert len(clock_or_environment(ast.parse(sample))) == 1
