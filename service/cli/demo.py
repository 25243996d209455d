"""The invented demo coast: loaded once, by the names it gives its things, and never over anything."""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any

from service.api.v1.schemas.marks import MarkCreate
from service.api.v1.schemas.methods import MethodCreate
from service.api.v1.schemas.regulations import RegulationCreate
from service.api.v1.schemas.species_rules import SpeciesRuleCreate
from service.api.v1.schemas.stations import StationCreate
from service.cli.demo_conditions import load_forecast
from service.cli.demo_log import load_log
from service.errors import DocumentInvalid, ReferenceTaken
from service.security import Caller
from service.storage.records import ACTIVE, DONE
from service.usecases import fits, stations
from service.usecases.context import Context
from service.usecases.fits import FitRequest, Upload
from service.usecases.marks import MARKS
from service.usecases.methods import METHODS
from service.usecases.regulations import REGULATIONS
from service.usecases.species_rules import SPECIES_RULES
from tidecore.errors import Fault

_POLL_S = 0.05


def load_demo(context: Context, caller: Caller, folder: Path) -> str:
    """Load what is not there yet from ``folder``, and return a line that says what was done.

    ``stations/*.json`` are stations as the API takes them; one without a model is fitted from the record
    ``gauges/<name of its file>.csv``, beside which a JSON of the same name holds the hints. ``marks/*.json``,
    ``rules/*.json``, ``methods/*.json`` and ``regulations/*.json`` are marks, rules, methods and regulations.
    ``conditions/*.json`` are invented forecasts, each given anew once the last one has ended. ``log/trips.ndjson`` and
    ``log/diary.csv`` are as the imports of trips and of diary rows take them.
    A thing without ``external_ref`` has the name of its file.

    Raises
    ------
    DocumentInvalid
        If the folder is not there, a document cannot be read, or the record of a station cannot be fitted.
    """
    if not folder.is_dir():
        raise DocumentInvalid(Fault("EBBMARK_DEMO_DIR", f"{str(folder)!r} is no folder", "the folder demo_stations"))
    made = sum(_load_station(context, caller, path) for path in sorted(folder.glob("stations/*.json")))
    for path in sorted(folder.glob("marks/*.json")):
        mark = MarkCreate.parse(_read(path))
        made += _made(lambda mark=mark: MARKS.create(context, caller, mark.to_draft()))
    for path in sorted(folder.glob("rules/*.json")):
        rule = SpeciesRuleCreate.parse(_read(path))
        made += _made(lambda rule=rule: SPECIES_RULES.create(context, caller, rule.to_draft()))
    for path in sorted(folder.glob("conditions/*.json")):
        forecast = _read(path)
        forecast.pop("external_ref")
        made += load_forecast(context, caller, path, forecast)
    for path in sorted(folder.glob("methods/*.json")):
        method = MethodCreate.parse(_read(path))
        made += _made(lambda method=method: METHODS.create(context, caller, method.to_draft()))
    for path in sorted(folder.glob("regulations/*.json")):
        regulation = RegulationCreate.parse(_read(path))
        made += _made(lambda regulation=regulation: REGULATIONS.create(context, caller, regulation.to_draft()))
    made += load_log(context, caller, folder / "log")
    return f"demo coast: {made} things loaded" if made else "demo coast: already in the store"


def _load_station(context: Context, caller: Caller, path: Path) -> int:
    """Make a station, and fit its record, where that has not been done; return how many things were made."""
    document = _read(path)
    record = path.parent.parent / "gauges" / f"{path.stem}.csv"
    new = StationCreate.parse(document).to_new()
    try:
        station = stations.create_station(context, caller, new).station
        made = 1
    except ReferenceTaken as taken:
        station = stations.get_station(context, caller, taken.holder, None).station
        made = 0
    if new.model is None and station.version == 0:
        _fit(context, caller, station.station_id, record)
        made += 1
    return made


def _fit(context: Context, caller: Caller, station_id: str, record: Path) -> None:
    """Send a record the way any caller does, wait for the fit, and adopt it."""
    if context.settings.workers == 0:
        raise DocumentInvalid(Fault("EBBMARK_WORKERS", f"is 0, and {record.name} must be fitted", "1 or more"))
    sidecar = record.with_suffix(".json")
    hints: dict[str, Any] = _read(sidecar) if sidecar.is_file() else {}
    hints.pop("external_ref", None)
    request = FitRequest(hints.pop("format", None), hints.pop("latitude", None), hints, {})
    try:
        content = record.read_bytes()
    except OSError as error:
        raise DocumentInvalid(Fault(str(record), "cannot be read", "the gauge record of a station")) from error
    context.settings.spool_folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=context.settings.spool_folder) as folder:
        copy = Path(folder) / record.name
        shutil.copyfile(record, copy)
        upload = Upload(copy, len(content), hashlib.sha256(content).hexdigest())
        fit = fits.request_fit(context, caller, station_id, upload, request)
    while fit.state in ACTIVE:
        time.sleep(_POLL_S)
        fit = fits.get_fit(context, caller, fit.fit_id)
    if fit.state != DONE:
        reason = "unknown" if fit.problem is None else fit.problem.get("detail", "unknown")
        raise DocumentInvalid(Fault(record.name, f"cannot be fitted: {reason}", "a record that can"))
    fits.adopt_fit(context, caller, fit.fit_id)


def _made(create: Any) -> int:
    """Make a thing unless its name is taken; return how many were made."""
    try:
        create()
    except ReferenceTaken:
        return 0
    return 1


def _read(path: Path) -> dict[str, Any]:
    """Return a JSON object from a file, named by ``external_ref`` after the file if it has none."""
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise DocumentInvalid(Fault(str(path), "cannot be read", "a JSON object in UTF-8")) from error
    if not isinstance(document, dict):
        raise DocumentInvalid(Fault(str(path), "is no object", "a JSON object"))
    return {"external_ref": path.stem, **document}
