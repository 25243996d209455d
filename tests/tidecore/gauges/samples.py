"""An invented hourly tide, written in each of the formats that state things themselves."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np

START = np.datetime64("2026-03-01T00:00:00", "s")


def tide(hours: int) -> list[tuple[str, float]]:
    """Return hourly times as 2026-03-01T00:00:00 and levels [m] of an invented M2 and S2, to the millimetre."""
    at = np.arange(hours)
    levels = 3.0 + 2.0 * np.cos(2 * np.pi * at / 12.4206012) + 0.7 * np.cos(2 * np.pi * at / 12.0)
    noise = np.random.default_rng(20260301).normal(0.0, 0.02, hours)
    return [
        (str(START + np.timedelta64(int(hour), "h")), round(float(level), 3))
        for hour, level in zip(at, levels + noise, strict=True)
    ]


BODC_HEADER = """\
Port:              X042
Site:              Tarrowick
Latitude:          50.12345
Longitude:         -5.54321
Start Date:        01MAR2026-00.00.00
End Date:          02MAR2026-23.00.00
Contributor:       Invented Oceanographic Laboratory
Datum information: The data refer to Invented Chart Datum (ICD)
Parameter code:    ASLVZZ01 = Surface elevation (unspecified datum) of the water body
  Cycle    Date      Time      ASLVZZ01     Residual
 Number yyyy mm dd hh mi ssf           f            f
"""


def bodc(hours: int) -> str:
    """Return BODC text; no flag."""
    rows = (
        f"{at:>6}) {time[:10].replace('-', '/')} {time[11:]} {level:>11.4f}  {0.01:>11.4f} \n"
        for at, (time, level) in enumerate(tide(hours), start=1)
    )
    return BODC_HEADER + "".join(rows)


def dtf(hours: int) -> str:
    """Return DTF text; all flags 0."""
    return "".join(
        f"{3600 * at:>10} {time[:4]} {int(time[5:7]):>2} {int(time[8:10]):>2} {int(time[11:13])}.0000 {level:>9.3f} 0\n"
        for at, (time, level) in enumerate(tide(hours))
    )


def erddap_csvp(hours: int) -> str:
    """Return csvp of one station, in millimetres; every third time a second early, as such servers write them."""
    rows = []
    for at, (time, level) in enumerate(tide(hours)):
        early = str(np.datetime64(time, "s") - np.timedelta64(int(at % 3 == 2), "s"))
        rows.append(f'{round(level * 1000)},{early}Z,50.1,354.5,"Tarrowick, Roads",42\n')
    names = (
        "sea_level (millimeters),time (UTC),latitude (degrees_north),longitude (degrees_east),station_name,gauge_id\n"
    )
    return names + "".join(rows)


def erddap_csv(hours: int) -> str:
    """Return csv with its row of units, in metres."""
    rows = "".join(f"{time}Z,50.1,-5.5,{level}\n" for time, level in tide(hours))
    return "time,latitude,longitude,water_level\nUTC,degrees_north,degrees_east,m\n" + rows


GESLA_NAMES = (
    "date_time", "year", "month", "day", "hour", "country", "site_name", "lat", "lon", "sea_level", "qc_flag",
    "use_flag", "file_name",
)  # fmt: skip


def gesla(hours: int) -> str:
    """Return a GESLA table; all flags 1."""
    rows = (
        f"{time}Z\t2026\t3\t1\t0\tINV\tTarrowick\t50.1\t-5.5\t{level}\t1\t1\ttarrowick-inv\n"
        for time, level in tide(hours)
    )
    return "\t".join(GESLA_NAMES) + "\n" + "".join(rows)


def ioc(hours: int, sensors: tuple[str, ...] = ("rad(m)",)) -> str:
    """Return a page of one line."""
    head = "".join(f"<td class=field>{sensor}</td>" for sensor in sensors)
    rows = "".join(
        f"<tr><td>{time.replace('T', ' ')}</td>{f'<td>{level}</td>' * len(sensors)}</tr>" for time, level in tide(hours)
    )
    title = '<th colspan="2">Tide gauge at Tarrowick, Inv.</th>'
    return f'<div align=center><table border="1">{title}<tr><td>Time (UTC)</td>{head}</tr>{rows}</table></div>'


MEDS_HEADER = """\
Station_Name,TARROWICK
Station_Number,42
Latitude_Decimal_Degrees,50.1
Longitude_Decimal_Degrees,64.5
Datum,CD
Time_zone,UTC
SLEV=Observed Water Level
Obs_date,SLEV(metres)
"""


def meds(hours: int) -> str:
    """Return MEDS CSV with its CR LF and trailing commas."""
    rows = "".join(f"{time[:16].replace('-', '/').replace('T', ' ')},{level},\n" for time, level in tide(hours))
    return (MEDS_HEADER + rows).replace("\n", "\r\n")


def noaa_document(hours: int) -> dict[str, Any]:
    """Return an answer of verified water levels."""
    return {
        "metadata": {"id": "42", "name": "Tarrowick", "lat": "50.1", "lon": "-5.5"},
        "data": [
            {"t": time[:16].replace("T", " "), "v": f"{level:.3f}", "s": "0.01", "f": "0,0,0,0", "q": "v"}
            for time, level in tide(hours)
        ],
    }


def noaa(hours: int) -> str:
    """Return the same as JSON, on one line."""
    return json.dumps(noaa_document(hours))


UNKNOWN: dict[str, Any] = {"datum": "unknown"}
UNSTATED: dict[str, Any] = {"unit": "m", "zone": "UTC", "datum": "unknown"}
#: What each format is called -> how to write a record of so many hours, and the hints it needs.
SAMPLES: dict[str, tuple[Callable[[int], str], dict[str, Any]]] = {
    "bodc": (bodc, {}),
    "dtf": (dtf, UNSTATED),
    "erddap-csv": (erddap_csvp, UNKNOWN),
    "gesla-table": (gesla, UNKNOWN),
    "ioc-table": (ioc, UNKNOWN),
    "meds": (meds, {}),
    "noaa-json": (noaa, UNSTATED),
}
