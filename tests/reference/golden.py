"""The outputs that `tidecore.NUMERICS` stands for, of an invented station and mark; `main` writes them down anew.

    python -m tests.reference.golden

The values in golden_values.json are our own: they hold nothing to be right, they say when an output has moved.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from tidecore import NUMERICS, Mark, SpeciesRule, TideModel, build_timeline, find_windows
from tidecore.flow import SlackLags
from tidecore.timebase import TimeGrid
from tidecore.timeline import factors

FILE = Path(__file__).with_name("golden_values.json")
START, END = np.datetime64("2026-03-18"), np.datetime64("2026-03-25")

#: An invented tide with so large an M4 that waters stand, and some are secondary, on an invented shore.
CONSTITUENTS = {
    "M2": (1.71, 133.0), "S2": (0.58, 178.0), "N2": (0.33, 112.0), "K2": (0.16, 175.0), "K1": (0.11, 88.0),
    "O1": (0.09, 331.0), "M4": (0.54, 86.0), "MS4": (0.12, 97.0), "M6": (0.05, 201.0), "SA": (0.07, 221.0),
}  # fmt: skip
MARK = {
    "name": "Invented Bank", "latitude": 47.25, "longitude": -21.75, "time_zone": "Etc/UTC", "station": "invented",
    "kind": "open_beach", "slack_lags": {"after_hw_min": 35.0, "after_lw_min": 50.0}, "beds": ["clean_sand"],
    "stream_rates": {
        "spring_flood_m_per_s": 0.9, "spring_ebb_m_per_s": 1.1, "neap_flood_m_per_s": 0.4, "neap_ebb_m_per_s": 0.5,
    },
}  # fmt: skip
RULE = {
    "name": "Invented rule",
    "species": {"scientific_name": "Pisces inventi"},
    "require": [
        {
            "factor": "flow_strength",
            "shape": {"kind": "trapezoid", "from": 0.1, "full_from": 0.35, "full_to": 0.9, "to": 1.4},
        }
    ],
    "prefer": [
        {"factor": "light", "shape": {"kind": "set", "values": ["night", "civil_twilight", "nautical_twilight"]}},
        {
            "factor": "height",
            "shape": {"kind": "trapezoid", "from": 2.0, "full_from": 3.0, "full_to": 5.0, "to": 6.0},
            "weight": 2.0,
        },
    ],
}


def compute() -> dict[str, Any]:
    """Return every output, unrounded: numbers in the units of the API, instants in seconds since 1970."""
    model = TideModel.from_constituents(
        CONSTITUENTS, latitude=47.25, mean_level=3.4, convention="utide", datum="invented datum"
    )
    grid = TimeGrid.spanning(START, END, "1h")
    table = model.extremes(START, END)
    lags = SlackLags(35.0, 50.0)
    timeline = build_timeline(Mark.parse(MARK), model, START, END, step="3h")
    windows = find_windows(SpeciesRule.parse(RULE), build_timeline(Mark.parse(MARK), model, START, END))
    known = [name for name, factor in factors().items() if factor.compute is not None]
    return {
        "numerics": NUMERICS,
        "heights_m": model.heights(grid).tolist(),
        "rates_m_per_h": model.rates(grid).tolist(),
        "flow_index": model.flow_index(grid).tolist(),
        "flow_index_with_lags": model.flow_index(grid, lags).tolist(),
        "mean_spring_range_m": [model.mean_spring_range],
        "flow_normaliser_m_per_h": [model.flow_normaliser],
        "extremes": {
            "time_s": seconds(table.time),
            "height_m": table.height.tolist(),
            "stand_start_s": seconds(table.stand_start),
            "stand_end_s": seconds(table.stand_end),
            "said": [f"{k} {p} {r} {d} {t}" for k, p, r, d, t in zip(
                table.kind, table.primary, table.rank, table.double, table.tide_id, strict=True)],
        },
        "timeline": {name: plain(timeline.columns[name]) for name in known},
        "windows": {
            "start_s": seconds([one.start for one in windows]),
            "end_s": seconds([one.end for one in windows]),
            "best_hour_start_s": seconds([one.best_hour.start for one in windows]),
            "mean_score": [one.mean_score for one in windows],
            "peak_score": [one.peak_score for one in windows],
            "mean_loss": [given.mean_loss for one in windows for given in one.contributions],
            "said": [str(one.limiting_factor) for one in windows],
        },
    }  # fmt: skip


def seconds(times: Any) -> list[float | None]:
    """Return instants as seconds since 1970, None for none."""
    ticks = np.asarray(times, dtype="datetime64[us]")
    return [None if np.isnat(one) else float(one.astype(np.int64)) / 1e6 for one in ticks]


def plain(values: Any) -> list[Any]:
    """Return a column as JSON has it, None where it is unknown."""
    return [None if value != value else value for value in values.tolist()]


def main() -> None:
    """Write the values down."""
    text = json.dumps(compute(), indent=None, separators=(",", ":")).replace('],"', '],\n"').replace('},"', '},\n"')
    FILE.write_text(text + "\n", encoding="utf-8")
    sys.stdout.write(f"wrote {FILE.name}\n")


if __name__ == "__main__":
    main()
