"""fit: a gauge record -> a tide model with its diagnostics."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from tidecore.errors import (
    Fault,
    InvalidInput,
    InvalidPosition,
    RecordConstant,
    RecordOfTurns,
    RecordTooShort,
    UnknownName,
)
from tidecore.harmonics import NODAL_OPTIONS, arguments_of
from tidecore.harmonics.arguments import table_names
from tidecore.harmonics.engine import METHODS, Solution, rayleigh_choice, solve
from tidecore.harmonics.inference import InferredLine
from tidecore.harmonics.least_squares import least_squares
from tidecore.intervals import calibrate
from tidecore.model.choice import Choice, choose
from tidecore.model.inference import Inference
from tidecore.model.parts import JoinedRecord, about_own_means, joined, level_offsets
from tidecore.model.study import effective_days
from tidecore.model.tide import FitDiagnostics, TideModel
from tidecore.model.weather import noise_beside
from tidecore.quality import QualityReport, check_record
from tidecore.timebase import US_PER_DAY, from_microseconds
from tidecore.units import FloatArray, IntArray

if TYPE_CHECKING:
    import xarray

#: Shorter records separate not even the diurnal from the semidiurnal tide with any certainty [days].
LEAST_DAYS = 6.9
#: Skill is told from this length on [days].
LEAST_DAYS_FOR_SKILL = 60.0
#: Check a record before it is fitted, or take it as it is.
QUALITY_OPTIONS = ("check", "off")
_DAYS_PER_YEAR = 365.2425


def fit(
    record: xarray.Dataset | Sequence[xarray.Dataset],
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
    """Fit a tide model to a gauge record, or to several of one gauge.

    Parameters
    ----------
    record : xarray.Dataset, or sequence of them
        From `read_gauge`: "sea_level" [m] over "time" [UTC]; where "quality" is there, flags 3, 4 and 9 do not
        enter, nor do missing values. Several are parts of one record, in any order, perhaps years apart. Parts of
        one known datum share their mean level; otherwise the offsets between parts are found with the tide, and
        mean level and datum of the model are those of the latest part.
    latitude : float, optional
        [degrees north]; the record's own where it states one and none is given.
    constituents : "auto", "rayleigh" or sequence of str
        "auto" takes what predicts best the parts of the record that are left out in turn, compounds of shallow
        water, seasonal lines and damped node factors among the candidates; records under 180 days, or too coarse,
        fall back to "rayleigh": what the length of the record resolves by Rayleigh's criterion.
    nodal : {"exact", "linear_time", "none"}
        Node factors at each instant, held at mid-record, or none.
    trend : bool
        Fit a linear trend too. It is reported and never part of a prediction.
    method : {"ols", "robust"}
        Least squares, or utide's iteratively reweighted ones, which know utide's own constituents alone.
    neighbour : TideModel, optional
        A station whose tide is like this one. Lines that the record is too short to separate are held to lines that
        it can, with the neighbour's ratios of amplitude and differences of phase; the diagnostics say which. A record
        whose constituents are chosen out of sample needs none.
    infer : mapping of name to (reference, amplitude ratio, phase offset [degrees]), optional
        The same with ratios given: amplitude over that of the reference, phase lag of the reference minus that of
        the line. "auto" is then "rayleigh".
    quality : {"check", "off"}
        Check the record first, by `check_record`: what it flags does not enter, and its report is among the
        diagnostics. "off" takes the record's own flags as they are.

    Raises
    ------
    RecordTooShort
        Under 6.9 days, or fewer than two values an unknown.
    RecordConstant
        If the level never moves.
    RecordOfTurns
        If a part holds high and low waters alone, and the constituents are not named.
    PartsDisagree
        If parts overlap and differ, or lie at different places.
    UnfitNeighbour
        If the neighbour's tide is of another type, or lacks its main lines.
    UnknownName, InvalidInput, InvalidPosition
        For options, names or a latitude that cannot be.

    Notes
    -----
    Amplitudes and phases are those of ``utide.solve`` for the same constituents, unless the node factors are
    damped. ``diagnostics.choice`` says what was tried and why it was taken.
    """
    _check_options(nodal, method, quality)
    whole, report = _whole(record, latitude, quality, neighbour, named=not isinstance(constituents, str))
    where = _latitude(whole.attrs, latitude)
    times, options = whole.times_us, {"nodal": nodal, "trend": trend, "method": method}
    _refuse_unfit(times, whole.levels, 0, trend)
    inference = Inference.parse(neighbour, infer, nodal)
    choice, how, inferred = _choice(times, about_own_means(whole), where, constituents, options, inference)
    _refuse_unfit(times, whole.levels, len(choice.names), trend)
    levels, above = level_offsets(whole, where, choice.names, nodal)
    solution = _solve(times, levels, where, choice, inferred, options)
    inference.check(solution.harmonics)
    residual = levels - _described(solution, times)
    diagnostics = FitDiagnostics(
        first=str(from_microseconds(times[0])) + "Z",
        last=str(from_microseconds(times[-1])) + "Z",
        values=len(times),
        missing=whole.missing,
        residual_rms_m=float(np.sqrt(np.mean(residual**2))),
        variance_explained=1.0 - float(np.var(residual)) / float(np.var(levels)),
        skill=_skill(times, levels, where, constituents, options, inference),
        snr=_ratios(solution, times, residual),
        rayleigh_dropped=() if how == "given" else rayleigh_choice(max(effective_days(times), 1e-3))[1],
        constituents=how,
        nodal=nodal,
        method=method,
        trend_m_per_year=None if solution.trend_per_day is None else solution.trend_per_day * _DAYS_PER_YEAR,
        record={key: _plain(value) for key, value in whole.attrs.items()},
        choice=_explained(choice, whole.described, above),
        inferred=inference.note(inferred),
        quality=report,
    )
    datum = str(whole.attrs.get("datum", "unknown"))
    asked = {"latitude": where, "names": list(choice.names), "datum": datum, **options}
    held = {"node_powers": dict(choice.node_powers), "inferred": diagnostics.inferred if inferred else None}
    digest = _input_hash(times, levels, asked | {name: one for name, one in held.items() if one})
    sure = calibrate(times, levels, solution.harmonics)
    return TideModel.made_of(solution.harmonics, station, datum, diagnostics, digest, calibration=sure)


def _check_options(nodal: str, method: str, quality: str) -> None:
    for kind, given, known in (
        ("nodal option", nodal, NODAL_OPTIONS),
        ("method of fitting", method, METHODS),
        ("quality option", quality, QUALITY_OPTIONS),
    ):
        if given not in known:
            raise UnknownName(kind, given, known)


def _whole(
    records: xarray.Dataset | Sequence[xarray.Dataset],
    latitude: float | None,
    quality: str,
    neighbour: TideModel | None,
    *,
    named: bool,
) -> tuple[JoinedRecord, Mapping[str, Any] | None]:
    """Return the parts as one record, less what its check flags, and the report of that; None where it was not
    checked."""
    whole = joined(records)
    if whole.turns_alone and not named:
        raise RecordOfTurns
    # A record too short or too still to be fitted is refused for that, and not for what a check would say of it.
    if quality == "off" or not len(whole.levels) or float(np.ptp(whole.levels)) == 0.0:
        return whole, None
    import xarray

    if isinstance(records, xarray.Dataset):
        record, report = check_record(records, _latitude(records.attrs, latitude), neighbour=neighbour)
        return (joined(record) if report.left_out else whole), report.to_document()
    checked = [check_record(one, _latitude(one.attrs, latitude), neighbour=neighbour) for one in records]
    return joined([one for one, _ in checked]), QualityReport.of_parts([one for _, one in checked]).to_document()


def _explained(choice: Choice, parts: tuple[dict[str, Any], ...], above: tuple[float, ...]) -> dict[str, Any]:
    """Return the explanation of the choice, with the parts of a record of several."""
    if not parts:
        return choice.explanation
    offsets = [{**part, "offset_m": round(offset, 5)} for part, offset in zip(parts, above, strict=True)]
    return {**choice.explanation, "parts": offsets}


def _latitude(attrs: Mapping[str, Any], given: float | None) -> float:
    value = attrs.get("latitude") if given is None else given
    if value is None:
        raise InvalidPosition(Fault("latitude", "neither given nor stated by the record", "degrees from -90 to 90"))
    value = float(value)
    if not (np.isfinite(value) and -90.0 <= value <= 90.0):
        raise InvalidPosition(Fault("latitude", f"{value} is on no globe", "degrees from -90 to 90"))
    return value


def _choice(
    times: IntArray,
    levels: FloatArray,
    latitude: float,
    constituents: str | Sequence[str],
    options: Mapping[str, Any],
    inference: Inference,
) -> tuple[Choice, str, tuple[InferredLine, ...]]:
    """Return what to fit, in a word how that was found, and the lines that are inferred besides."""
    choice, how = _listed(times, levels, latitude, _wanted(constituents, inference), options)
    if choice.explanation["kind"] == "out_of_sample":
        return choice, how, ()
    unresolved = rayleigh_choice(max(effective_days(times), 1e-3))[1]
    inferred = inference.lines(choice.names, [name for name in unresolved if name not in choice.names])
    if inferred and not _plain_set(choice):
        raise InvalidInput(Fault("constituents", "hold compounds beside which nothing is inferred", "utide's names"))
    return choice, how, inferred


def _wanted(constituents: str | Sequence[str], inference: Inference) -> str | Sequence[str]:
    """Return what is asked for; ratios given hang from what the length of the record resolves."""
    return "rayleigh" if constituents == "auto" and inference.given else constituents


def _listed(
    times: IntArray,
    levels: FloatArray,
    latitude: float,
    constituents: str | Sequence[str],
    options: Mapping[str, Any],
) -> tuple[Choice, str]:
    """Return the constituents to fit, and in a word how they were found."""
    composed = options["method"] == "ols"
    if constituents == "auto":
        return choose(times, levels, latitude, options["nodal"], composed), "auto"
    if constituents == "rayleigh":
        kept, _ = rayleigh_choice(max(effective_days(times), 1e-3))
        return Choice(kept, {}, {"kind": "rayleigh", "why": "asked for", "lines": len(kept)}), "rayleigh"
    if isinstance(constituents, str):
        raise InvalidInput(Fault("constituents", f"is {constituents!r}", "'auto', 'rayleigh' or a list of names"))
    names = tuple(constituents)
    if not names or len(set(names)) != len(names):
        raise InvalidInput(Fault("constituents", "empty, or a name twice", "at least one name, each once"))
    arguments_of(names)
    strange = sorted(set(names) - set(table_names()))
    if strange and not composed:
        raise InvalidInput(Fault("constituents", f"{strange[0]} is unknown to robust fits", "names of utide's table"))
    return Choice(names, {}, {"kind": "given", "why": "asked for", "lines": len(names)}), "given"


def _plain_set(choice: Choice) -> bool:
    """Return whether utide can fit a set."""
    return choice.explanation["kind"] != "out_of_sample" and set(choice.names) <= set(table_names())


def _solve(
    times: IntArray,
    levels: FloatArray,
    latitude: float,
    choice: Choice,
    inferred: Sequence[InferredLine],
    options: Mapping[str, Any],
    intervals: bool = True,
) -> Solution:
    """Return the fit: by utide where the set is plain, else by the same least squares with what utide lacks."""
    if _plain_set(choice):
        return solve(times, levels, latitude, choice.names, intervals=intervals, inferred=inferred, **options)
    if options["method"] == "robust":
        return solve(times, levels, latitude, choice.names, **options)
    powers = np.array([choice.node_powers.get(name, 0.0) for name in choice.names]) if choice.node_powers else None
    found = least_squares(times, levels, latitude, choice.names, options["nodal"], options["trend"], node_powers=powers)
    return found.strongest_first()


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
    options: Mapping[str, Any],
    inference: Inference,
) -> float | None:
    """Return 1 - var(residual) / var(observed) over the last quarter of the span, chosen and fitted on the rest.

    A trend, where one is fitted, is not carried into the last quarter: it is never extrapolated.
    """
    if _days(times) < LEAST_DAYS_FOR_SKILL:
        return None
    border = times[0] + 3 * (times[-1] - times[0]) // 4
    early, late = times < border, times >= border
    if late.sum() < 2 or early.sum() < 2:
        return None
    observed = float(np.var(levels[late]))
    if observed == 0.0 or float(np.ptp(levels[early])) == 0.0:
        return None
    wanted = _wanted(constituents, inference)
    if inference.given and not inference.possible(
        _listed(times[early], levels[early], latitude, wanted, options)[0].names
    ):
        return None
    choice, _, inferred = _choice(times[early], levels[early], latitude, constituents, options, inference)
    if early.sum() < 2 * (2 * len(choice.names) + 2):
        return None
    solution = _solve(times[early], levels[early], latitude, choice, inferred, options, intervals=False)
    residual = levels[late] - solution.harmonics.heights(times[late].view("datetime64[us]"))
    return 1.0 - float(np.var(residual)) / observed


def _ratios(solution: Solution, times: IntArray, residual: FloatArray) -> dict[str, float]:
    """Return signal over noise by power: utide's own, else from the residual's spectrum beside each line."""
    lines = solution.harmonics
    ratios = solution.snr
    if ratios is None:
        noise = noise_beside(times, residual - residual.mean(), arguments_of(lines.names).speeds)
        ratios = lines.amplitude**2 / (2.0 * noise / len(times))
    return {name: float(ratio) for name, ratio in zip(lines.names, ratios, strict=True)}


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
