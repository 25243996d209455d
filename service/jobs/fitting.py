"""The work of a fit: the only place of the service that reads gauge records and fits them."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from service.errors import RecordLost
from service.jobs.worker import JobOutcome, JobTask, Progress
from service.storage.plain import encode_error, plain
from tidecore.errors import CoreError


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
        record = parts if len(parts) > 1 else parts[0]
        reports = [plain(dict(part.attrs)) for part in parts]
        report = {"record": {"parts": reports} if len(parts) > 1 else reports[0], "diagnostics": None}
        progress(1, 2, "fitting")
        beside = given.get("neighbour_model")
        neighbour = None if beside is None else TideModel.from_document(beside)
        model = fit(record, latitude=given["latitude"], station=given["station"], neighbour=neighbour, **given["fit"])
    except CoreError as error:
        return JobOutcome(problem=encode_error(error), kept={"report": report, "model": None})
    diagnostics = None if model.diagnostics is None else plain(asdict(model.diagnostics))
    progress(2, 2, "fitted")
    return JobOutcome(
        result={"fit_id": given["fit_id"]},
        kept={"report": {**report, "diagnostics": diagnostics}, "model": plain(model.to_document())},
    )
