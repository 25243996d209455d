"""A model's document as a NetCDF-3 file and back, without loss."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from tidecore.errors import ModelUnreadable
from tidecore.units import FloatArray


def write_netcdf(document: Mapping[str, Any], speeds: FloatArray, path: Path) -> None:
    """Write a model's document to ``path`` as NetCDF-3, through a temporary file in the same folder.

    ``speeds`` [degrees an hour] of the constituents go in for those who read the file with other tools.
    """
    import xarray

    lines = document["harmonics"]
    # The arrays stand in the file as variables; the rest is one JSON attribute, which keeps types and None.
    rest = {**document, "harmonics": {k: v for k, v in lines.items() if k not in ("amplitude_m", "phase_deg")}}
    dataset = xarray.Dataset(
        {
            "amplitude": ("constituent", lines["amplitude_m"], {"units": "m", "long_name": "amplitude"}),
            "phase_lag": (
                "constituent",
                lines["phase_deg"],
                {"units": "degree", "long_name": "Greenwich phase lag"},
            ),
            "speed": ("constituent", speeds, {"units": "degree hour-1", "long_name": "speed at 2000-01-01"}),
        },
        coords={"constituent": np.array(lines["names"], dtype="S")},
        attrs={
            "Conventions": "CF-1.11",
            "title": f"Tide model of {document['station']}".removesuffix(" of "),
            "datum": document["datum"],
            "comment": "Not for navigation.",
            "model": json.dumps(rest),
        },
    )
    handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".partial")
    os.close(handle)
    try:
        dataset.to_netcdf(temporary, format="NETCDF3_CLASSIC", engine="scipy")
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def read_netcdf(path: Path) -> dict[str, Any]:
    """Return the document written to ``path`` by `write_netcdf`."""
    import xarray

    content = path.read_bytes()
    try:
        with xarray.open_dataset(content, engine="scipy") as dataset:
            document: dict[str, Any] = json.loads(dataset.attrs["model"])
            document["harmonics"]["amplitude_m"] = dataset["amplitude"].values.tolist()
            document["harmonics"]["phase_deg"] = dataset["phase_lag"].values.tolist()
    except (KeyError, TypeError, ValueError, IndexError, AssertionError) as error:
        raise ModelUnreadable(f"{path.name} is no tide model file ({type(error).__name__}: {error})") from error
    return document
