"""Run-up measured on beaches, held against the formulae for sand and gravel.

    python -m tests.reference.run_up

prints RMSE and bias (formula less observed) of R2 [m] by material and source, and the part of the rows whose observed
R2 passes the largest of 1,000 waves by the formula and 0.38 m, up to which the shore answers call the ground wetted.

The rows are the field and laboratory data of Power, Gharabaghi, Bonakdari, Robertson, Atkinson, Baldock 2018,
Prediction of wave runup on beaches using Gene-Expression Programming and empirical relationships, Coastal Engineering,
doi:10.1016/j.coastaleng.2018.10.006, as the Python package py-wave-runup carries them (GPL: for these tests only).
The file is found and read; the package is never imported.

Which rows count was settled before any was held against a formula:

sand
    field rows with D50 under 2 mm (and over 0), slope 0.01 to 0.2, and Hs, Tp and observed R2 present and over 0:
    the formula of Stockdon et al. 2006. Required: RMSE <= 0.45 m and |bias| <= 0.25 m over all of them together.
gravel
    field rows with D50 of 2 to 64 mm, slope over 0, and Hs, Tp and observed R2 present and over 0: the formula of Poate
    et al. 2016 as it is used where the peak period alone is known. Reported apart; nothing is required.

No row is dropped for any other reason. Rows that a formula was fitted to are told apart by the name of their data set
(STOCKDON2006, POATE2016) and reported beside the others.
"""

from __future__ import annotations

import csv
import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tidecore.shore import Waves, largest_over_r2, poate, stockdon
from tidecore.units import BoolArray, FloatArray

PACKAGE, FILE = "py_wave_runup", Path("datasets") / "power18.csv"
REQUIREMENTS = "tests/reference/run_up_requirements.txt"
ABSENT = f"{PACKAGE} with its data is not installed (pip install --no-deps -r {REQUIREMENTS}): run-up is not checked"
#: Required of the formula for sand over its field rows [m].
SAND_RMSE_M, SAND_BIAS_M = 0.45, 0.25
#: Grain sizes between sand and gravel, and between gravel and cobble [m].
GRAVEL_FROM_M, GRAVEL_TO_M = 0.002, 0.064
#: The level up to which ground is taken for wetted: the largest run-up of so many waves, and so much more [m].
_MANY_WAVES, _DANGER_M = 1000.0, 0.38
#: How the file writes a number that is not known.
_MISSING = ("", "-")


def data_file() -> Path | None:
    """Return the file of the installed package, None where there is none; the package is not imported."""
    spec = importlib.util.find_spec(PACKAGE)
    for folder in () if spec is None else spec.submodule_search_locations or ():
        if (Path(folder) / FILE).is_file():
            return Path(folder) / FILE
    return None


@dataclass(frozen=True)
class RunUps:
    """Rows of the data, shape ``(n,)`` each, in metres and seconds, ``slope`` a tangent; NaN where unknown."""

    dataset: np.ndarray
    beach: np.ndarray
    field: BoolArray
    height: FloatArray
    peak_period: FloatArray
    slope: FloatArray
    d50: FloatArray
    r2: FloatArray

    def at(self, chosen: BoolArray) -> RunUps:
        """Return the chosen rows."""
        return RunUps(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.r2)


def read(path: Path) -> RunUps:
    """Return all rows of the file."""
    with path.open(encoding="utf-8-sig", newline="") as lines:
        rows = list(csv.DictReader(lines))

    def numbers(name: str) -> FloatArray:
        return np.array([np.nan if row[name].strip() in _MISSING else float(row[name]) for row in rows])

    return RunUps(
        dataset=np.array([row["Dataset"] for row in rows]),
        beach=np.array([row["Beach"] for row in rows]),
        field=np.array([row["Lab/field"] == "F" for row in rows]),
        height=numbers("Hs [m]"),
        peak_period=numbers("Tp [s]"),
        slope=numbers("tanB [-]"),
        d50=numbers("D50 [m]"),
        r2=numbers("R2% (-SWL) [m]"),
    )


def _measured(rows: RunUps) -> BoolArray:
    """Field rows with waves and run-up; NaN is over nothing."""
    return rows.field & (rows.height > 0.0) & (rows.peak_period > 0.0) & (rows.r2 > 0.0)


def sand(rows: RunUps) -> RunUps:
    """Return the sand rows."""
    fine = (rows.d50 > 0.0) & (rows.d50 < GRAVEL_FROM_M)
    return rows.at(_measured(rows) & fine & (rows.slope >= 0.01) & (rows.slope <= 0.2))


def gravel(rows: RunUps) -> RunUps:
    """Return the gravel rows."""
    coarse = (rows.d50 >= GRAVEL_FROM_M) & (rows.d50 <= GRAVEL_TO_M)
    return rows.at(_measured(rows) & coarse & (rows.slope > 0.0))


def sand_errors(rows: RunUps) -> FloatArray:
    """Return what the formula for sand gives less what was observed [m]."""
    return stockdon(rows.height, rows.peak_period, rows.slope) - rows.r2


def gravel_errors(rows: RunUps) -> FloatArray:
    """Return what the formula for gravel gives, of the peak period alone, less what was observed [m]."""
    sea = Waves.of(rows.height, rows.peak_period)
    return poate(rows.height, rows.slope, sea.energy_period, sea.zero_crossing_period) - rows.r2


@dataclass(frozen=True)
class Figures:
    """How many rows, root mean square and mean of formula less observed [m], and the part over the danger level."""

    count: int
    rmse: float
    bias: float
    passed: float

    @classmethod
    def of(cls, rows: RunUps, errors: FloatArray) -> Figures:
        """Return the figures of rows with their errors."""
        level = (rows.r2 + errors) * float(largest_over_r2(_MANY_WAVES)) + _DANGER_M
        return cls(
            len(rows), float(np.sqrt(np.mean(errors**2))), float(np.mean(errors)), float(np.mean(rows.r2 > level))
        )


def report(rows: RunUps) -> list[str]:
    """Return the figures as lines of text."""
    lines = [f"{'rows':40} {'n':>5} {'RMSE [m]':>9} {'bias [m]':>9} {'mean R2':>8} {'passed':>7}"]
    for name, part, errors, own in (
        ("sand, Stockdon", sand(rows), sand_errors, "STOCKDON2006"),
        ("gravel, Poate", gravel(rows), gravel_errors, "POATE2016"),
    ):
        groups = {
            "all": np.full(len(part), True),
            f"{own} alone": part.dataset == own,
            "the others": part.dataset != own,
        }
        for one in np.unique(part.dataset):
            if one != own:
                groups[f"  {one}"] = part.dataset == one
        for beach in np.unique(part.beach) if name.startswith("gravel") else ():
            groups[f"  {beach}"] = part.beach == beach
        for which, chosen in groups.items():
            if chosen.any():
                rest = part.at(chosen)
                found, mean = Figures.of(rest, errors(rest)), float(rest.r2.mean())
                figures = f"{found.rmse:9.3f} {found.bias:+9.3f} {mean:8.2f} {found.passed:7.1%}"
                lines.append(f"{name + ': ' + which:40} {found.count:5d} {figures}")
    return lines


def main() -> int:
    """Print the report."""
    path = data_file()
    if path is None:
        sys.stderr.write(f"{ABSENT}\n")
        return 1
    sys.stdout.write("\n".join(report(read(path))) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
