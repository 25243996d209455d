"""fit: a gauge record -> a tide model with its diagnostics."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from tidecore.errors import Fault, InvalidInput, InvalidPosition, RecordConstant, RecordTooShort, UnknownName
from tidecore.harmonics import arguments_of
from tidecore.harmonics.engine import Solution, rayleigh_choice, solve
from tidecore.model.inference import Inference
from tidecore.model.tide import FitDiagnostics, TideModel
from tidecore.quality import check_record
from tidecore.timebase import US_PER_DAY, from_microseconds, microseconds
from tidecore.units import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    import xarray

#: Shorter records separate not even the diurnal from the semidiurnal tide with any certainty [days].
LEAST_DAYS = 6.9
#: Skill is told from this length on [days].
LEAST_DAYS_FOR_SKILL = 60.0
#: Check a record before it is fitted, or take it as it is.
QUALITY_OPTIONS = ("check", "off")
_GOOD_FLAGS = (1, 2)
_DAYS_PER_YEAR = 365.2425


def fit(
    record: xarray.Dataset,
    latitude: float | None = None,
    *,
    constituents: str | Sequence[str] = "auto",
    nodal: str = "exact",
    trend: bool = False,
    method: str = "ols",
    station: str = "",
    neighbour: TideModel | None = None,
    infer: Mapping[str, Sequence[object]] | None = None,
    quality: str = "check",
) -> TideModel:
    """Fit a tide model to a gauge record through ``utide.solve``.

    Parameters
    ----------
    record : xarray.Dataset
        From `read_gauge`: "sea_level" [m] over "time" [UTC]; where "quality" is there, flags 3, 4 and 9 do not
        enter, nor do missing values.
    latitude : float, optional
        [degrees north]; the record's own where it states one and none is given.
    constituents : "auto" or sequence of str
        "auto" takes what the length of the record resolves by Rayleigh's criterion.
    nodal : {"exact", "linear_time", "none"}
        Node factors at each instant, held at mid-record, or none.
    trend : bool
        Fit a linear trend too. It is reported and never part of a prediction.
    method : {"ols", "robust"}
        Least squares, or utide's iteratively reweighted ones.
    neighbour : TideModel, optional
        A station whose tide is like this one. Lines that the record is too short to separate are held to lines that
        it can, with the neighbour's ratios of amplitude and differences of phase; the diagnostics say which.
    infer : mapping of name to (reference, amplitude ratio, phase offset [degrees]), optional
        The same with ratios given: amplitude over that of the reference, phase lag of the reference minus that of
        the line.
    quality : {"check", "off"}
        Check the record first, by `check_record`: what it flags does not enter, and its report is among the
        diagnostics. "off" takes the record's own flags as they are.

    Raises
    ------
    RecordTooShort
        Under 6.9 days, or fewer than two values an unknown.
    RecordConstant
        If the level never moves.
    UnfitNeighbour
        If the neighbour's tide is of another type, or lacks its main lines.
    UnknownName, InvalidInput, InvalidPosition
        For options, names or a latitude that cannot be.

    Notes
    -----
    Amplitudes and phases are those of ``utide.solve``; against an independent implementation of the same method
    they agree to 1e-7 m on a year of hourly values.
    """
    where = _latitude(record, latitude)
    (times, levels, missing), report = _checked(record, where, neighbour, quality)
    inference = Inference.parse(neighbour, infer, nodal)
    names, dropped, how = _choice(times, constituents)
    _refuse_unfit(times, levels, len(names), trend)
    options: dict[str, Any] = {"nodal": nodal, "trend": trend, "method": method}
    inferred = inference.lines(names, _unresolved(times, names))
    solution = solve(times, levels, where, names, intervals=True, inferred=inferred, **options)
    inference.check(solution.harmonics)
    residual = levels - _described(solution, times)
    observed = float(np.var(levels))
    diagnostics = FitDiagnostics(
        first=str(from_microseconds(times[0])) + "Z",
        last=str(from_microseconds(times[-1])) + "Z",
        values=len(times),
        missing=missing,
        residual_rms_m=float(np.sqrt(np.mean(residual**2))),
        variance_explained=1.0 - float(np.var(residual)) / observed,
        skill=_skill(times, levels, where, constituents, options, inference),
        snr=_ratios(solution),
        rayleigh_dropped=dropped,
        constituents=how,
        nodal=nodal,
        method=method,
        trend_m_per_year=None if solution.trend_per_day is None else solution.trend_per_day * _DAYS_PER_YEAR,
        record={key: _plain(value) for key, value in record.attrs.items()},
        inferred=inference.note(inferred),
        quality=report,
    )
    datum = str(record.attrs.get("datum", "unknown"))
    identity = {"latitude": where, "names": list(names), "datum": datum, **options}
    digest = _input_hash(times, levels, identity | ({"inferred": diagnostics.inferred} if inferred else {}))
    return TideModel.made_of(solution.harmonics, station, datum, diagnostics, digest)


def _latitude(record: xarray.Dataset, given: float | None) -> float:
    value = record.attrs.get("latitude") if given is None else given
    if value is None:
        raise InvalidPosition(Fault("latitude", "neither given nor stated by the record", "degrees from -90 to 90"))
    value = float(value)
    if not (np.isfinite(value) and -90.0 <= value <= 90.0):
        raise InvalidPosition(Fault("latitude", f"{value} is on no globe", "degrees from -90 to 90"))
    return value


def _checked(
    record: xarray.Dataset, latitude: float, neighbour: TideModel | None, quality: str
) -> tuple[tuple[IntArray, FloatArray, int], dict[str, Any] | None]:
    """Return times, levels and how many values were left out, and the report of the check if there is one."""
    if quality not in QUALITY_OPTIONS:
        raise UnknownName("quality option", quality, QUALITY_OPTIONS)
    given = _valid(record)
    if quality == "off" or not len(given[1]) or float(np.ptp(given[1])) == 0.0:
        return given, None
    record, report = check_record(record, latitude, neighbour=neighbour)
    return _valid(record) if report.left_out else given, report.to_document()


def _valid(record: xarray.Dataset) -> tuple[IntArray, FloatArray, int]:
    """Return times, levels, and how many values were left out."""
    for name in ("sea_level", "time"):
        if name not in record:
            raise InvalidInput(Fault(f"record.{name}", "missing", "a record as read_gauge returns it"))
    times = microseconds(record["time"].values, "record.time")
    levels = np.asarray(record["sea_level"].values, dtype=np.float64)
    if times.ndim != 1 or levels.shape != times.shape:
        raise InvalidInput(Fault("record.sea_level", f"has shape {levels.shape}", "one level a time"))
    if np.any(np.diff(times) <= 0):
        raise InvalidInput(Fault("record.time", "does not ascend", "sorted times, each once"))
    valid: BoolArray = np.isfinite(levels)
    if "quality" in record:
        valid &= np.isin(record["quality"].values, _GOOD_FLAGS)
    return times[valid], levels[valid], int(len(times) - valid.sum())


def _choice(times: IntArray, constituents: str | Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...], str]:
    """Return the names to fit, those that Rayleigh's criterion drops, and how the choice was made."""
    days = _days(times)
    kept, dropped = rayleigh_choice(max(days, 1e-3))
    if constituents == "auto":
        return kept, dropped, "auto"
    if isinstance(constituents, str):
        raise InvalidInput(Fault("constituents", f"is {constituents!r}", "'auto' or a list of names"))
    names = tuple(constituents)
    if not names or len(set(names)) != len(names):
        raise InvalidInput(Fault("constituents", "empty, or a name twice", "at least one name, each once"))
    arguments_of(names)
    return names, (), "given"


def _unresolved(times: IntArray, names: Sequence[str]) -> tuple[str, ...]:
    """Return the lines that the record is too short to separate and that are not fitted all the same."""
    _, dropped = rayleigh_choice(max(_days(times), 1e-3))
    return tuple(name for name in dropped if name not in names)


def _refuse_unfit(times: IntArray, levels: FloatArray, lines: int, trend: bool) -> None:
    needed = 2 * (2 * lines + 1 + int(trend))
    if _days(times) < LEAST_DAYS or len(times) < needed:
        raise RecordTooShort(_days(times), LEAST_DAYS, len(times), max(needed, 2))
    if float(np.ptp(levels)) == 0.0:
        raise RecordConstant(float(levels[0]))


def _days(times: IntArray) -> float:
    return float(times[-1] - times[0]) / US_PER_DAY if len(times) else 0.0


def _described(solution: Solution, times: IntArray) -> FloatArray:
    """Return what the fit says of its own record, trend included."""
    levels = solution.harmonics.heights(times.view("datetime64[us]"))
    if solution.trend_per_day is not None:
        levels += solution.trend_per_day * (times - solution.reference_us) / US_PER_DAY
    return levels


def _skill(
    times: IntArray,
    levels: FloatArray,
    latitude: float,
    constituents: str | Sequence[str],
    options: dict[str, Any],
    inference: Inference,
) -> float | None:
    """Return 1 - var(residual) / var(observed) over the last quarter of the span, fitted on the rest.

    A trend, where one is fitted, is not carried into the last quarter: it is never extrapolated.
    """
    if _days(times) < LEAST_DAYS_FOR_SKILL:
        return None
    border = times[0] + 3 * (times[-1] - times[0]) // 4
    early, late = times < border, times >= border
    names, _, _ = _choice(times[early], constituents)
    if late.sum() < 2 or early.sum() < 2 * (2 * len(names) + 2) or not inference.possible(names):
        return None
    observed = float(np.var(levels[late]))
    if observed == 0.0 or float(np.ptp(levels[early])) == 0.0:
        return None
    inferred = inference.lines(names, _unresolved(times[early], names))
    solution = solve(times[early], levels[early], latitude, names, inferred=inferred, **options)
    residual = levels[late] - solution.harmonics.heights(times[late].view("datetime64[us]"))
    return 1.0 - float(np.var(residual)) / observed


def _ratios(solution: Solution) -> dict[str, float]:
    ratios = solution.snr if solution.snr is not None else ()
    return {name: float(ratio) for name, ratio in zip(solution.harmonics.names, ratios, strict=True)}


def _plain(value: Any) -> Any:
    """Return an attribute as a plain JSON value."""
    if isinstance(value, np.generic):
        return value.item()
    return value.tolist() if isinstance(value, np.ndarray) else value


def _input_hash(times: IntArray, levels: FloatArray, options: dict[str, Any]) -> str:
    digest = hashlib.sha256(json.dumps(options, sort_keys=True).encode())
    digest.update(np.ascontiguousarray(times).tobytes())
    digest.update(np.ascontiguousarray(levels).tobytes())
    return digest.hexdigest()
