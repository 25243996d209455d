"""Whether another tree of this source finds the same windows: `python -m tests.benchmarks.same_windows OTHER_TREE`.

Both search the coast of `choosing` in processes of their own, and every word of every window is compared.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

_SEARCH = """
import sys
import numpy as np
import tidecore
from tests.benchmarks import choosing
from tidecore.sky import sky_positions
from tidecore.windows import find_all_windows

start = choosing._start(int(sys.argv[1]))
end = start + np.timedelta64(14, "D")
sky = sky_positions(start - choosing._SKY_REACH, end + choosing._SKY_REACH)
rules, marks = choosing.rules(), choosing.marks()
tides, seas = choosing.models(len(marks)), choosing.seas(len(marks), start)
for k, mark in enumerate(marks):
    line = tidecore.build_timeline(mark, tides[k // 5], start, end, sky=sky, conditions=seas[k // 5])
    for rule, windows in zip(rules, find_all_windows(rules, line), strict=True):
        for window in windows:
            print(k, rule.name, window)
"""
_SPANS = 4


def _windows(tree: Path, span: int) -> list[str]:
    """Return every window that a tree finds, in words."""
    environment = {**os.environ, "PYTHONPATH": str(tree)}
    command = [sys.executable, "-c", _SEARCH, str(span)]
    done = subprocess.run(command, cwd=tree, env=environment, capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


def main(other: str) -> int:
    """Compare this tree with another; return 1 if a window differs."""
    differing = 0
    for span in range(_SPANS):
        mine, theirs = _windows(Path.cwd(), span), _windows(Path(other).resolve(), span)
        apart = sum(one != two for one, two in zip(mine, theirs, strict=False)) + abs(len(mine) - len(theirs))
        sys.stdout.write(f"span {span}: {len(mine)} windows here, {len(theirs)} there, {apart} differ\n")
        differing += apart
    return 1 if differing else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1]))
