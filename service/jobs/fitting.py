"""The work of fits: the only place of the service that reads gauge records and fits them.

One record uploaded is a job, `fit_record`; many at hand are pieces of work, `fit_piece`, spread like those of a plan.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from service.errors import RecordLost
from service.jobs.worker import JobOutcome, JobTask, Progress
from service.storage.plain import encode_error, plain
from tidecore.errors import CoreError

if TYPE_CHECKING:
    import xarray as xr


def fit_record(task: JobTask, progress: Progress) -> JobOutcome:
    """Read the uploaded record of a fit, or its parts, and fit it; return model and report.

    The heavy libraries load here alone.

    The input holds ``fit_id``, ``station`` (its name), ``latitude`` [degrees], ``format``, ``hints``, ``fit``
    (options of the fit), and ``neighbour_model`` (the document of a model to infer from) where there is one. The record
    lies in the spool folder under the id of the fit.
    """
    from tidecore.gauges import read_gauge_parts
    from tidecore.model import TideModel, fit

    given, place = task.input, task.place
    path = Path(place.spool) / given["fit_id"]
    if not path.is_file():
        raise RecordLost
    report: dict[str, Any] | None = None
    try:
        progress(0, 2, "reading the record")
        parts = read_gauge_parts(path, format=given["format"], max_bytes=place.max_record_bytes, **given["hints"])
        reports = [plain(dict(part.attrs)) for part in parts]
        report = {"record": {"parts": reports} if len(parts) > 1 else reports[0], "diagnostics": None}
        progress(1, 2, "fitting")
        beside = given.get("neighbour_model")
        neighbour = None if beside is None else TideModel.from_document(beside)
        model = fit(
            _whole(parts), latitude=given["latitude"], station=given["station"], neighbour=neighbour, **given["fit"]
        )
    except CoreError as error:
        return JobOutcome(problem=encode_error(error), kept={"report": report, "model": None})
    diagnostics = None if model.diagnostics is None else plain(asdict(model.diagnostics))
    progress(2, 2, "fitted")
    return JobOutcome(
        result={"fit_id": given["fit_id"]},
        kept={"report": {**report, "diagnostics": diagnostics}, "model": plain(model.to_document())},
    )


@dataclass(frozen=True, slots=True)
class RecordPiece:
    """A gauge record to be fitted: the name of its file and its bytes, how it is read, and where it was taken.

    ``key`` tells pieces apart; without a ``latitude`` [degrees] it is the record's own.
    """

    key: str
    name: str
    content: bytes
    file_format: str | None
    hints: Mapping[str, Any]
    latitude: float | None
    station: str


@dataclass(frozen=True, slots=True)
class FittedRecord:
    """What came of a piece: the document of its model, or why there is none."""

    key: str
    model: Mapping[str, Any] | None = None
    problem: CoreError | None = None


def fit_piece(piece: RecordPiece) -> FittedRecord:
    """Return the model of a record, wherever this is done; one that cannot be read or fitted stops no other."""
    from tidecore.gauges import read_gauge_parts
    from tidecore.model import fit

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / piece.name
        path.write_bytes(piece.content)
        try:
            parts = read_gauge_parts(path, format=piece.file_format, **piece.hints)
            model = fit(_whole(parts), latitude=piece.latitude, station=piece.station)
        except CoreError as error:
            return FittedRecord(piece.key, problem=error)
    return FittedRecord(piece.key, model=model.to_document())


def _whole(parts: list[xr.Dataset]) -> xr.Dataset | list[xr.Dataset]:
    return parts if len(parts) > 1 else parts[0]
