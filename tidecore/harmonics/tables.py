"""The constituent tables of utide, read in place from its data file.

Importing utide costs most of two seconds, because it imports scipy; its tables are plain arrays. They are
read here by an unpickler that knows the handful of names such a file may hold and refuses any other.
"""

from __future__ import annotations

import io
import pickle
import zipfile
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from tidecore.units import AnyArray, FloatArray, IntArray

_ALLOWED = {
    ("numpy.core.multiarray", "_reconstruct"),
    ("numpy._core.multiarray", "_reconstruct"),
    ("numpy", "ndarray"),
    ("numpy", "dtype"),
    ("numpy.core.multiarray", "scalar"),
    ("numpy._core.multiarray", "scalar"),
    ("_codecs", "encode"),
}


class _Bunch(dict[str, Any]):
    """Stands in for utide's dictionary with attributes."""


class _TableUnpickler(pickle.Unpickler):
    """Unpickles arrays and utide's own dictionary type, nothing else."""

    def find_class(self, module: str, name: str) -> Any:
        if (module, name) in _ALLOWED:
            return super().find_class(module, name)
        if module.startswith("utide") and name == "Bunch":
            return _Bunch
        raise pickle.UnpicklingError(f"{module}.{name} has no place in a constituent table")


@dataclass(frozen=True, slots=True, eq=False)
class ConstituentTable:
    """What utide knows of each constituent.

    ``doodson`` (n, 6) multiplies (tau, s, h, p, N', p'); ``semi`` (n,) is the constant of the argument [cycles];
    ``resolution`` (n,) the frequency separation from its stronger neighbour [cycles per hour] by which a
    Rayleigh criterion picks it. Satellites: ``sat_owner`` index of the constituent, ``sat_doodson`` (m, 3)
    multiplies (p, N', p'), ``sat_phase`` [cycles], ``sat_ratio``, and ``sat_latitude`` 0, 1 or 2, the kind of
    latitude factor. ``parents[k]`` lists (index, coefficient) of a compound; it is empty for the others.
    """

    names: tuple[str, ...]
    doodson: FloatArray
    semi: FloatArray
    resolution: FloatArray
    sat_owner: IntArray
    sat_doodson: FloatArray
    sat_phase: FloatArray
    sat_ratio: FloatArray
    sat_latitude: IntArray
    parents: tuple[tuple[tuple[int, float], ...], ...]

    def index(self) -> dict[str, int]:
        """Return the row of each name."""
        return {name: row for row, name in enumerate(self.names)}


def _member(archive: zipfile.ZipFile, name: str) -> Any:
    """Return one array of an npz file, its pickled objects read by the restricted unpickler."""
    stream = io.BytesIO(archive.read(name))
    version = np.lib.format.read_magic(stream)
    reader = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
    shape, _, dtype = reader(stream)
    if dtype.hasobject:
        return _TableUnpickler(stream, encoding="latin1").load()
    return np.frombuffer(stream.read(), dtype=dtype).reshape(shape)


def _plain(value: Any) -> Any:
    """Unwrap the 0-dimensional object arrays that hold dictionaries."""
    return value.item() if isinstance(value, np.ndarray) and value.dtype == object and value.ndim == 0 else value


def _text(value: Any) -> str:
    return (value.decode("ascii") if isinstance(value, bytes) else str(value)).strip()


def _flat(value: AnyArray, dtype: type) -> AnyArray:
    return np.asarray(value).astype(dtype).ravel()


@lru_cache(maxsize=1)
def constituent_table() -> ConstituentTable:
    """Return utide's table of constituents; read once, in about a millisecond."""
    spec = find_spec("utide")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("utide is not installed; its constituent tables are needed")
    with zipfile.ZipFile(Path(spec.origin).parent / "data" / "ut_constants.npz") as archive:
        members = {name.removesuffix(".npy"): _plain(_member(archive, name)) for name in archive.namelist()}
    const, sat, shallow = members["const"], members["sat"], members["shallow"]
    first = np.asarray(const["ishallow"], dtype=float).ravel()
    count = np.asarray(const["nshallow"], dtype=float).ravel()
    parent_rows = _flat(shallow["iname"], np.int64) - 1
    coefficients = _flat(shallow["coef"], np.float64)
    parents = tuple(
        tuple(
            (int(parent_rows[i]), float(coefficients[i])) for i in range(int(start) - 1, int(start) - 1 + int(number))
        )
        if np.isfinite(start)
        else ()
        for start, number in zip(first, count, strict=True)
    )
    return ConstituentTable(
        names=tuple(_text(name) for name in np.asarray(const["name"]).ravel()),
        doodson=np.asarray(const["doodson"], dtype=np.float64),
        semi=_flat(const["semi"], np.float64),
        resolution=_flat(const["df"], np.float64),
        sat_owner=_flat(sat["iconst"], np.int64) - 1,
        sat_doodson=np.asarray(sat["deldood"], dtype=np.float64),
        sat_phase=_flat(sat["phcorr"], np.float64),
        sat_ratio=_flat(sat["amprat"], np.float64),
        sat_latitude=_flat(sat["ilatfac"], np.int64),
        parents=parents,
    )
