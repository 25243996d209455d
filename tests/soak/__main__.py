"""Run the long runs: `make soak`, or `make soak ARGS=isolation_timing` for one of them."""

from __future__ import annotations

import sys
from importlib import import_module

NAMES = ("isolation_timing",)


def main(chosen: list[str]) -> int:
    """Run the ``chosen`` runs, or all; return 1 if one of them failed."""
    unknown = [name for name in chosen if name not in NAMES]
    if unknown:
        sys.stderr.write(f"no run {', '.join(unknown)}; there are: {', '.join(NAMES)}\n")
        return 2
    failed = [name for name in chosen or NAMES if not import_module(f"tests.soak.{name}").run()]
    sys.stdout.write(f"failed: {', '.join(failed)}\n" if failed else "every run is as it should be\n")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
