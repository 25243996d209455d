"""Run the benchmarks: `make bench`, or `make bench ARGS=synthesis` for one of them."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

from tests.benchmarks.measure import Report, kernel

NAMES = (
    "synthesis",
    "high_and_low_waters",
    "sun_and_moon",
    "search",
    "choosing",
    "hazards",
    "unchanged",
    "plans",
    "plan_store",
    "imports",
    "log_imports",
    "catch_log",
)


def main(chosen: list[str]) -> int:
    """Run the ``chosen`` benchmarks, or all; return 1 if a wanted figure was missed."""
    unknown = [name for name in chosen if name not in NAMES]
    if unknown:
        sys.stderr.write(f"no benchmark {', '.join(unknown)}; there are: {', '.join(NAMES)}\n")
        return 2
    report = Report()
    report.heading("Calibration kernel")
    report.add("kernel", kernel() * 1e3, "ms")
    for name in chosen or NAMES:
        import_module(f"tests.benchmarks.{name}").run(report)
    report.write(Path(".bench") / "latest.json")
    report.heading("missed: " + "; ".join(report.missed) if report.missed else "every wanted figure is met")
    return 1 if report.missed else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
