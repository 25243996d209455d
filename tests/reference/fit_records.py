"""Fit every published record that the readers take, and print how good the fits are.

    python -m tests.reference.fit_records            residual and skill of every record
    python -m tests.reference.fit_records windows    fit Honolulu 2010, print a month of windows from it

The records are read in place, from the folder that EBBMARK_OPEN_DATA names; their sources are in test_gauge_records.py.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import tidecore
from tests.reference.test_gauge_records import RECORDS
from tidecore.errors import FitError

#: Latitude [degrees north] by record, as its publisher states it.
LATITUDES = {
    "honolulu/HNL2010.asc": 21.0,
    "uhslc/h820.csv": 64.172,
    "uhslc/h079_2009-2011.csv": -43.947,
    "netcdf/wplf1_2009-08_2009-09.nc": 25.708,
    "tuktoyaktuk/tuk_time_elev.dat": 69.439,
    "halifax/490-01-JAN-2003_slev.csv": 44.667,
    "cananeia/can1998.dtf": -25.02,
    "noaa/newlondon_8461490_2013_hourly_MHW_gmt.csv": 41.36,
    "noaa/newlondon_8461490_201301_6min_MHW_gmt.csv": 41.36,
    "noaa/providence_8454000_hourly_2014-2017_MLLW.csv": 41.81,
    "noaa/portland_8418150_high_low_observed_2015-2019.csv": 43.66,
    "bom/hillarys_2012-2014_hourly.csv": -31.826,
    "bom/portland_2012-2014_hourly.csv": -38.351,
    "ioc/vliz_realtime_h820_20201014.csv": 64.172,
    "ioos/water_level_example_kotzebue.csv": 66.895,
    "gesla/geslaR_antarctica.txt": -69.0,
    "gesla/geslaR_ireland.txt": 52.25,
    "bodc/1946ABE.txt": 57.143,
    "bodc/1947ABE.txt": 57.143,
    "bodc/2012WHI.txt": 54.49,
    "ioc/bgraph_vera_20220831.html": 19.2,
    "uhslc/erddap_global_hourly_fast_20210801.csvp": 14.677,
    "noaa/station_9447130_Seattle/water_level_20150101-20150131_MLLW_metric_gmt.json": 47.603,
    "noaa/water_level_9414458_20050330_STND_metric_gmt.json": 37.58,
    "noaa/hourly_predictions_20210101/8652587_STND_metric_gmt_h.json": 35.8,
}
#: What the example looks for; it stands for no fish.
RULE = {
    "name": "Example: early flood in poor light",
    "species": {"scientific_name": "Exemplum piscis", "local_name": "example"},
    "require": [
        {
            "factor": "hours_from_lw",
            "shape": {"kind": "trapezoid", "from": -0.5, "full_from": 0.0, "full_to": 3.0, "to": 4.0},
        }
    ],
    "prefer": [{"factor": "sun_altitude", "shape": {"kind": "trapezoid", "full_to": 0.0, "to": 10.0}}],
    "provenance": "an example",
}


def folder() -> Path:
    """Return where the open data is."""
    root = Path(__file__).resolve().parents[2]
    return Path(os.environ.get("EBBMARK_OPEN_DATA", root.parent / "shared" / "data"))


def figures(where: Path) -> Iterator[str]:
    """Return a line a record: values, days, constituents, residual RMS, variance explained, skill."""
    yield f"{'record':<56} {'values':>7} {'days':>7} {'lines':>5} {'rms m':>7} {'explained':>9} {'skill':>7}"
    for record in RECORDS:
        read = tidecore.read_gauge(where / record.path, **record.hints)
        try:
            model = tidecore.fit(read, latitude=LATITUDES[record.path])
        except FitError as error:
            yield f"{record.path:<56} not fitted: {error}"
            continue
        found = model.diagnostics
        assert found is not None
        times = read["time"].values[[0, -1]]
        days = (times[1] - times[0]).astype("timedelta64[s]").astype(int) / 86_400
        skill = "-" if found.skill is None else f"{found.skill:.3f}"
        yield (
            f"{record.path:<56} {found.values:>7} {days:>7.1f} {len(model.constituents):>5} "
            f"{found.residual_rms_m:>7.3f} {found.variance_explained:>9.3f} {skill:>7}"
        )


def month(where: Path) -> Iterator[str]:
    """Return the windows of a month at a mark that follows the gauge of Honolulu, fitted here and now."""
    record = next(record for record in RECORDS if "HNL2010" in record.path)
    model = tidecore.fit(tidecore.read_gauge(where / record.path, **record.hints), latitude=LATITUDES[record.path])
    mark = tidecore.Mark.parse(
        {
            "name": "At the gauge",
            "latitude": 21.3,
            "longitude": -157.87,
            "time_zone": "Pacific/Honolulu",
            "station": "HNL2010",
            "kind": "harbour",
        }
    )
    timeline = tidecore.build_timeline(mark, model, "2026-12-01T10:00", "2027-01-01T10:00")
    for window in tidecore.find_windows(tidecore.SpeciesRule.parse(RULE), timeline):
        yield (
            f"{str(window.start)[:16]}Z to {str(window.end)[:16]}Z  score {window.mean_score:.2f}  "
            f"limited by {window.limiting_factor or 'nothing'}  best hour {str(window.best_hour.start)[11:16]}Z"
        )


def main(arguments: list[str]) -> int:
    """Print one or the other."""
    if not folder().is_dir():
        sys.stderr.write(f"open gauge data not found at {folder()}; set EBBMARK_OPEN_DATA\n")
        return 1
    for line in month(folder()) if arguments == ["windows"] else figures(folder()):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
