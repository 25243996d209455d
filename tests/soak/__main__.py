"""Run the long runs: `make soak`, or `make soak ARGS=kills` for one of them, `ARGS=kills=4` from its fourth part on."""

from __future__ import annotations

import sys
from importlib import import_module

NAMES = ("isolation_timing", "kills", "cluster_kills", "contract", "filters", "pegs", "import_memory")


def main(chosen: list[str]) -> int:
    """Run the ``chosen`` runs, or all; return 1 if one of them failed."""
    asked = {name: part for name, _, part in (one.partition("=") for one in chosen or NAMES)}
    unknown = [name for name in asked if name not in NAMES]
    if unknown or not all(part == "" or part.isdecimal() for part in asked.values()):
        sys.stderr.write(f"no run {', '.join(unknown) or chosen}; there are: {', '.join(NAMES)}, each with =part\n")
        return 2
    failed = [name for name, part in asked.items() if not import_module(f"tests.soak.{name}").run(int(part or 1))]
    sys.stdout.write(f"failed: {', '.join(failed)}\n" if failed else "every run is as it should be\n")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
