"""Put faults into real records at random places, seeded, and print how many of them the check finds.

    python -m tests.reference.quality_faults            the promised faults on quiet records, alarms on all, surges
    python -m tests.reference.quality_faults curves     size against rate of detection on the noisier records

The records are read in place, from the folder that EBBMARK_OPEN_DATA names; their sources are in test_gauge_records.py.
Some minutes each.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from tests.reference.fit_records import folder
from tests.reference.quality_records import (
    CURVES,
    FAULTS,
    NAMES,
    QUIET_M,
    Fault,
    Record,
    alarms,
    found,
    record,
    surges,
)

PLACEMENTS, PLACEMENTS_APART = 50, 10
CURVE_PLACEMENTS = 20
#: Records under half a year, and that of Nuuk, which has steps of its own: shown, and kept out of the sums.
APART = ("nuuk", "everglades", "syowa")


def rate(of: Record, fault: Fault, placements: int, seed: int = 20) -> float:
    """Return the share of faults found at ``placements`` random places."""
    rng = np.random.default_rng(seed)
    return sum(found(of, fault, rng) for _ in range(placements)) / placements


def promised(where: Path, placements: int = PLACEMENTS) -> Iterator[str]:
    """Return a line a record: noise, alarms, share flagged, and the share found of each fault."""
    yield f"{'record':<12} {'years':>5} {'hp cm':>6} {'alarms':>6} {'flagged':>8}  " + "  ".join(
        f"{fault.kind} {fault.size:g}" for fault in FAULTS
    )
    every: list[list[float]] = []
    years, false = 0.0, 0
    for name in NAMES:
        of = record(where, name)
        count, flagged = alarms(of)
        quiet = of.high_passed_m < QUIET_M
        line = f"{name:<12} {of.years:5.2f} {100 * of.high_passed_m:6.2f} {count:6d} {100 * flagged:7.3f}%  "
        if quiet:
            rates = [rate(of, fault, PLACEMENTS_APART if name in APART else placements) for fault in FAULTS]
            line += "  ".join(
                f"{100 * one:{len(f'{f.kind} {f.size:g}')}.0f}" for one, f in zip(rates, FAULTS, strict=True)
            )
            if name not in APART:
                every.append(rates)
                years, false = years + of.years, false + count
        yield line + ("  (apart)" if name in APART else "")
    yield f"quiet records, {years:.2f} years: {false / years:.3f} false alarms a year; found " + ", ".join(
        f"{fault.kind} {fault.size:g} {100 * one:.0f} %"
        for one, fault in zip(np.mean(every, axis=0), FAULTS, strict=True)
    )
    rng = np.random.default_rng(4)
    for name in ("honolulu", "portland", "hillarys"):
        of = record(where, name)
        before = alarms(of)[0]
        steps = sum(count for _ in range(5) for _, count in surges(of, rng))
        yield f"{name}: 20 storm surges, steps found {steps - 20 * before}"


def curves(where: Path, placements: int = CURVE_PLACEMENTS) -> Iterator[str]:
    """Return lines of size against the share found, a record and kind of fault each."""
    within = {fault.kind: fault for fault in FAULTS}
    for name in NAMES:
        of = record(where, name)
        if of.high_passed_m < QUIET_M and name not in APART:
            continue
        for kind, sizes in CURVES.items():
            fault = within[kind]
            rates = [rate(of, Fault(kind, size, fault.within_days, fault.margin_days), placements) for size in sizes]
            pairs = "  ".join(f"{size:g}: {100 * one:.0f} %" for size, one in zip(sizes, rates, strict=True))
            yield f"{name:<12} {kind:<6} {pairs}"


def main(arguments: list[str]) -> int:
    """Print one or the other."""
    if not folder().is_dir():
        sys.stderr.write(f"open gauge data not found at {folder()}; set EBBMARK_OPEN_DATA\n")
        return 1
    for line in curves(folder()) if arguments == ["curves"] else promised(folder()):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
